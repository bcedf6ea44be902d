"""The whole day in a real browser: check, ticket, inspection, strings, slip, history."""

import json
import re
import time

import pytest

from tensionlog.sources.recording import open_recording

from .browsing import WHY_NOT, Day, at_the_bench, browser

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(900),
    pytest.mark.skipif(WHY_NOT is not None, reason=WHY_NOT or ""),
]

PLAYER = {
    "owner": "Ilka Vardholm", "frame": "unbranded 4U frame", "string": "house nylon",
    "tension": "26/27", "limit": "34",
}  # fmt: skip


def notes_of(folder):
    path = max(folder.glob("*.rec"), key=lambda p: open_recording(p).started_s)
    return [json.loads(x[2:]) for x in path.read_bytes().splitlines() if x.startswith(b"! ")]


@pytest.mark.parametrize(
    ("mains", "crosses"), [pytest.param(22, 21, id="whole"), pytest.param(4, 2, id="short")]
)
def test_a_day_from_check_to_history(tmp_path, mains, crosses):
    """44 pulls in the long form: 43 strings, one redone, one undone and pulled again."""
    demo = {"mishaps": {"R2": "redo", "L2": "undo"}, "pace": 6.0, "hurry": 0.4}
    with at_the_bench(tmp_path, **demo) as (_, address), browser() as chromium:
        day = Day(chromium.new_page(viewport={"width": 1180, "height": 820}), address)

        assert day.check() in ("GOOD", "ADJUST", "WATCH")

        day.ticket(**PLAYER, mains=str(mains), crosses=str(crosses))
        day.shows(".ask")
        assert len(day.inspect()) == 6
        day.shows(".bench")
        said = day.string(lasts_s=600.0)
        pulls = {int(text.split()[0]) for text in said}
        assert max(pulls) == mains + crosses + 2
        assert any("TAKEN BACK" in text for text in said)

        assert len(day.inspect()) == 6
        day.shows(".paper iframe")
        slip = day.page.frame_locator("iframe").locator("body").inner_text()
        assert "Ilka Vardholm" in slip
        assert "holds less than that" in slip
        day.press("Enter")
        day.shows(".home")

        day.press("h")
        day.page.fill("#q", "vardolm")
        day.page.wait_for_selector(".list .who")
        assert "Vardholm" in day.text(".list")
        with day.page.context.expect_page() as opened:
            day.page.click("text=Report")
        opened.value.wait_for_selector("h1")
        assert "pulls within" in opened.value.inner_text("h1")
        assert day.wrong == []
        assert all(url.startswith(address) for url in day.asked)

    names = [note["note"] for note in notes_of(tmp_path)]
    assert names[0] == "job-start"
    assert names[-2:] == ["job-end", "hand-over"]
    assert names.count("inspect") == 13


def test_the_page_comes_back_where_it_was(tmp_path):
    """A reload, and a server that is gone for a while, in the middle of a job."""
    with at_the_bench(tmp_path, mishaps={}, hurry=0.4) as (_, address), browser() as chromium:
        day = Day(chromium.new_page(), address)
        day.ticket(**PLAYER, mains="6", crosses="2")
        day.shows(".ask")
        day.inspect()
        day.page.wait_for_function(
            "() => (document.querySelector('#verdict')||{}).dataset?.pull >= 2"
        )
        day.page.reload()
        day.shows("#verdict[data-pull]")
        assert int(day.page.get_attribute("#verdict", "data-pull")) >= 2
        day.page.context.set_offline(True)
        day.page.wait_for_timeout(500)
        day.page.context.set_offline(False)
        day.string(lasts_s=120.0)
        assert day.wrong == []


def test_the_number_is_refreshed_fifteen_times_a_second(tmp_path):
    with at_the_bench(tmp_path, pace=1.0) as (_, address), browser() as chromium:
        day = Day(chromium.new_page(), address)
        count = "() => Number(document.documentElement.dataset.numbers || 0)"
        day.page.wait_for_function("() => document.documentElement.dataset.numbers > 5")
        before, began_s = day.page.evaluate(count), time.monotonic()
        day.page.wait_for_timeout(4000)
        after, took_s = day.page.evaluate(count), time.monotonic() - began_s
        assert (after - before) / took_s >= 15.0


def test_a_first_load_is_under_a_megabyte_and_asks_nobody_else(tmp_path):
    with at_the_bench(tmp_path) as (_, address), browser() as chromium:
        page = chromium.new_page()
        sizes: list[int] = []

        def heard(answer) -> None:
            if "/events" not in answer.url:
                sizes.append(len(answer.body()))

        page.on("response", heard)
        day = Day(page, address)
        day.page.wait_for_timeout(500)
        assert 10_000 < sum(sizes) < 1_000_000
        assert all(re.match(re.escape(address), url) for url in day.asked)
