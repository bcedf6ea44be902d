"""Pictures of every state of the page, made by one command.

    python tests/page/test_page_shots.py

They go to `recordings/page/`; look at them, and commit what is meant to have changed.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.page.browsing import WHY_NOT, Day, at_the_bench, browser

FOLDER = Path(__file__).resolve().parents[2] / "recordings" / "page"
TABLET, PHONE = {"width": 1180, "height": 820}, {"width": 390, "height": 844}
PLAYER = {
    "owner": "Ilka Vardholm", "frame": "unbranded 4U frame", "string": "house nylon",
    "tension": "26/27",
}  # fmt: skip


class Shots:
    """Takes each state in light, in dark and on a phone."""

    def __init__(self, day: Day, folder: Path) -> None:
        self._day, self._folder = day, folder
        folder.mkdir(parents=True, exist_ok=True)

    def take(self, name: str, *, phone: bool = True) -> None:
        page = self._day.page
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.wait_for_timeout(120)
            page.screenshot(path=self._folder / f"{name}-{scheme}.png")
        page.emulate_media(color_scheme="light")
        if phone:
            page.set_viewport_size(PHONE)
            page.wait_for_timeout(250)
            page.screenshot(path=self._folder / f"{name}-phone.png")
            page.set_viewport_size(TABLET)
            page.wait_for_timeout(150)


def check_and_hold(day: Day, shots: Shots) -> None:
    day.page.wait_for_timeout(600)
    shots.take("home-first")
    day.press("k")
    day.shows("text=Zero, masses")
    shots.take("check-choice", phone=False)
    day.press("1")
    day.shows("#g-word >> text=HANG")
    day.page.wait_for_timeout(900)
    shots.take("check-hang")
    day.shows(".check .word", timeout_s=300.0)
    shots.take("check-found")
    day.press("Enter")
    day.shows(".home")
    day.press("t")
    day.shows("text=which clamp")
    shots.take("hold-choice", phone=False)
    day.press("Escape")
    day.shows(".home")


def before(day: Day, shots: Shots) -> None:
    day.ticket(**PLAYER, limit="26.5", mains="10", crosses="4")
    day.shows(".error")
    shots.take("ticket-over-limit")
    day.page.fill("#f-limit", "34")
    day.press("Enter")
    for name in ("before-strings", "before-measure", "before-frame"):
        day.shows(".ask h1")
        shots.take(name, phone=name != "before-measure")
        title = day.text(".ask h1")
        if name != "before-frame":
            day.press("Enter")
            day.page.wait_for_function(
                "was => document.querySelector('h1').innerText !== was", arg=title
            )
    day.press("x")
    day.shows("text=this frame is not strung")
    shots.take("cracked")
    day.press("u")
    day.inspect()


def strings(day: Day, shots: Shots) -> None:
    taken: set[str] = set()

    def at(day: Day, shown: str) -> None:
        for word, name in (("held", "strings-held"), ("bad", "strings-lost")):
            verdict = day.page.query_selector("#verdict")
            tones = (verdict.get_attribute("class") or "") if verdict else ""
            if (word.upper() in shown or word in tones) and name not in taken:
                taken.add(name)
                shots.take(name, phone=name == "strings-lost")
        if {"strings-held"} <= taken and "strings-paused" not in taken:
            taken.add("strings-paused")
            day.press("p")
            day.shows("text=PAUSED")
            shots.take("strings-paused", phone=False)
            day.press("p")
            day.press("n")
            day.shows("#typed")
            shots.take("strings-note", phone=False)
            day.press("Escape")
            day.shows(".bench")

    day.string(lasts_s=400.0, at=at)
    shots.take("after-weave", phone=False)
    day.inspect()
    day.shows(".paper iframe")
    day.page.wait_for_timeout(800)
    shots.take("slip")


def main() -> None:
    """Make every picture."""
    if WHY_NOT is not None:
        raise SystemExit(WHY_NOT)
    with tempfile.TemporaryDirectory() as folder:
        demo = {"pace": 4.0, "hurry": 0.7, "mishaps": {"R2": "redo"}}
        with at_the_bench(Path(folder), **demo) as (_, address), browser() as chromium:
            page = chromium.new_page(viewport=TABLET)
            day = Day(page, address)
            shots = Shots(day, FOLDER)
            check_and_hold(day, shots)
            before(day, shots)
            strings(day, shots)
            name = page.get_attribute("iframe", "src")
            paper = chromium.new_page(viewport={"width": 397, "height": 559})
            paper.emulate_media(media="print")
            paper.goto(address.rstrip("/") + str(name))
            paper.screenshot(path=FOLDER / "slip-print.png")
            paper.close()
            day.press("Enter")
            day.shows(".home")
            page.wait_for_timeout(1200)
            shots.take("home")
            day.press("h")
            day.page.fill("#q", "vardolm")
            day.shows(".list .who")
            page.wait_for_timeout(400)
            shots.take("history")


if __name__ == "__main__":
    main()
