"""The maintenance page: state at a glance, what it rests on, and what is left out."""

from datetime import UTC, datetime
from typing import Any

import pytest

from tensionlog.report.bench_charts import hold_chart, line_chart, shown_of
from tensionlog.report.bench_view import BenchView, Held, InJobs, Line, Mark
from tensionlog.report.clamp_page import clamp_page

DAY_S, START_S = 86400.0, 1772434800.0
CLAMP: dict[str, Any] = {
    "clamp": "B", "state": "watch", "give_mm": 1.213, "u_give_mm": 0.06, "why_no_mm": None,
    "since": "2026-03-20T", "tested": "2026-03-22T", "problem": None, "needed": 0,
    "service_due": {"at": "2026-04-20", "earliest": "2026-04-02", "latest": None},
    "served": {"what": "cleaned", "at": "2026-02-01T"}, "alert": None,
}  # fmt: skip
ALERT: dict[str, Any] = {
    "raised": "2026-03-20T07:06Z", "cause": "clamp-B", "runner_up": "string",
    "text": "Clamp B gives <more>.", "do": "Clean the jaws.", "evidence": ["give: +0.4 mm"],
    "state": "raised", "closed": None, "reopened": [], "alert": "2026-03-20-clamp-B",
}  # fmt: skip
CELL = {"verdict": "good", "span_error_pct": -0.12, "checked": "2026-03-22T", "alert": None}
HEAD = {"error_pct": 0.4, "checked": "2026-03-22T", "alert": None}
SERVICE: dict[str, Any] = {
    "at": "2026-02-01T", "clamp": "B", "what": "cleaned", "before": 1.4, "after": 0.9,
    "change": {"low": -0.7, "best": -0.5, "high": -0.3}, "helped": True, "lasted_days": 41.0,
}  # fmt: skip


def line(n=20, **changes) -> Line:
    given: dict[str, Any] = {
        "name": "Give of clamp B",
        "unit": "mm",
        "times_s": tuple(START_S + DAY_S * i for i in range(n)),
        "values": tuple(0.9 + 0.01 * (i % 7) for i in range(n)),
        "limits": ((1.0, "watch"), (1.8, "service")),
    }
    return Line(**{**given, **changes})


def held(tests=8, **changes) -> Held:
    curve = (0.0, 0.1, 9.0, None, 9.2)
    given: dict[str, Any] = {
        "start_s": -0.4, "step_s": 0.2, "latest": curve, "latest_on": "2026-03-22",
        "low": curve[:3], "middle": curve[:3], "high": curve[:3], "tests": tests,
        "force_n": 120.0,
    }  # fmt: skip
    return Held(**{**given, **changes})


def page(*, clamps=(CLAMP,), alerts=(), cell=None, head=None, **changes) -> str:
    status = {
        "bench": "north",
        "clamps": list(clamps),
        "alerts": list(alerts),
        "cell": CELL | (cell or {}),
        "head": HEAD | (head or {}),
    }
    given: dict[str, Any] = {
        "status": status,
        "written_on": datetime(2026, 3, 22, 9, 0, tzinfo=UTC),
        "gives": {"B": line()},
        "held": {"B": held()},
        "a_minus_b": None,
        "drifts": (line(name="Zero of the cell", unit="N", limits=()),),
        "services": (SERVICE,),
        "in_jobs": (),
        "other_force": 0,
    }
    return clamp_page(BenchView(**{**given, **changes}))


def test_the_state_stands_first_as_a_word():
    said = page()

    assert "<h1>Clamp B: watch.</h1>" in said
    assert 'class="asks"><h3>Clamp B</h3><p class="word">watch</p>' in said
    assert "gives 1.21 ± 0.06 mm" in said
    assert "at this rate its limit is reached about 2026-04-20 (2026-04-02 or later)" in said
    assert "span −0.120 %" in said


@pytest.mark.parametrize(
    ("clamp", "said"),
    [
        ({"state": "good"}, "<h1>Every clamp holds.</h1>"),
        ({"state": None}, "<h1>No clamp has been hold-tested yet.</h1>"),
    ],
)
def test_a_quiet_bench_is_said_in_one_line(clamp, said):
    assert said in page(clamps=[CLAMP | clamp])


def test_what_is_not_known_of_a_clamp_is_said():
    bare = CLAMP | {
        "give_mm": None, "why_no_mm": "no span entered", "problem": "no hand-off", "needed": 3,
        "service_due": None, "served": None,
    }  # fmt: skip
    said = page(clamps=[bare], cell={"verdict": None, "span_error_pct": None, "checked": None},
                head={"error_pct": None})  # fmt: skip

    assert "no span entered" in said
    assert "last test: no hand-off" in said
    assert "3 more tests before a change can be told" in said
    assert "not checked" in said and "not compared" in said


def test_an_open_alert_says_what_to_do_and_what_it_rests_on():
    said = page(alerts=[ALERT | {"reopened": ["2026-03-25T"]}])

    assert "<h1>Clamp B gives &lt;more&gt;.</h1>" in said
    assert '<article class="alert open">' in said
    assert "raised 2026-03-20 · raised · back 2026-03-25" in said
    assert '<p class="do">Clean the jaws.</p>' in said
    assert "<li>give: +0.4 mm</li>" in said
    assert "It could also be string." in said


def test_what_tells_nothing_is_named_in_one_line():
    silent = [f"{name}: not measured since, or no baseline before" for name in ("A", "B")]
    said = page(alerts=[ALERT | {"evidence": [silent[0], "give: +0.4 mm", silent[1]]}])

    assert "<li>give: +0.4 mm</li><li>not measured since (or no baseline before): A, B" in said


def test_many_alerts_are_shortened_and_it_is_said():
    closed = ALERT | {"state": "closed", "closed": "2026-03-21T", "runner_up": None}
    said = page(alerts=[ALERT, *[closed] * 80])

    assert said.count("<article") == 8
    assert said.index('"alert open"') < said.index('<article class="alert">')
    assert "13 older ones are left out here." in said
    assert said.count('<p class="do">') == 1


def test_ten_years_are_thinned_and_it_is_said():
    long = line(3650)
    said = page(gives={"B": long})

    assert shown_of(long) < 800
    assert f"{shown_of(long)} of 3650 tests are drawn" in said
    assert len(said) < 400_000
    assert shown_of(line()) == 20


def test_services_alerts_levels_and_limits_are_in_the_picture():
    drawn = line_chart(
        line(
            marks=(Mark(START_S + 5 * DAY_S, "cleaned"), Mark(0.0, "long ago")),
            alerts=((START_S + 2 * DAY_S, START_S + 4 * DAY_S), (START_S + 9 * DAY_S, None)),
            levels=((START_S, START_S + DAY_S, 0.95),),
        )
    )

    assert drawn.count("▼ cleaned") == 1  # the phone's picture has the sign alone
    assert "long ago" not in drawn
    assert drawn.count("◆ alert") == 4
    assert drawn.count('class="level"') == 2
    assert "watch 1" in drawn
    assert "service 1.8" not in drawn  # far above: it would press all points to the ground


def test_a_limit_that_is_near_is_drawn_as_the_worst():
    assert 'class="worst"' in line_chart(line(limits=((1.1, "service"),)))


def test_many_services_are_drawn_without_their_names():
    marks = tuple(Mark(START_S + i * DAY_S, "cleaned") for i in range(1, 18))

    assert "cleaned" not in line_chart(line(marks=marks))


def test_the_latest_hold_lies_over_those_of_its_baseline():
    drawn = hold_chart("B", held())

    assert drawn.count('class="now"') == drawn.count('class="usual"') == 2
    assert ">−5<" in drawn
    said = page(held={"B": held(0, low=(), middle=(), high=())})
    assert "There is no other test to compare it with yet." in said
    assert "Thick: the test of 2026-03-22 at 120 N." in said


def test_what_jobs_said_counts_only_what_could_be_seen():
    one = InJobs(clamp="B", jobs=3, releases=30, could_show=20, seen=4, low=0.08, high=0.42,
                 dead_band_n=6.04, dead_band_mm=0.512)  # fmt: skip
    blind = InJobs(clamp="A", jobs=1, releases=9, could_show=0, seen=0, low=None, high=None,
                   dead_band_n=20.0, dead_band_mm=1.6)  # fmt: skip
    said = page(in_jobs=(one, blind), a_minus_b=line(name="A less B"))

    assert "<td>8 to 42 %</td><td>6.0 N, 0.51 mm</td>" in said
    assert "<td>–</td><td>20.0 N, 1.60 mm</td>" in said
    assert "String, target, hand and cell are the same" in said
    assert "No job has shown a drop at both clamps yet" in page()


def test_services_say_whether_they_helped_and_for_how_long():
    untold = SERVICE | {"change": None, "helped": None, "lasted_days": None, "after": None}
    said = page(services=(untold, SERVICE))

    assert "<td>−0.50 (−0.70 to −0.30) mm</td><td>yes</td><td>41 days</td>" in said
    assert "<td>–</td><td>–</td><td>not told yet</td><td>–</td>" in said
    assert "5 older services left out." in page(services=(SERVICE,) * 35)
    assert "<h2>Services</h2>" not in page(services=())


def test_tests_at_another_force_are_counted():
    assert "2 hold tests at another force than most are left out" in page(other_force=2)
    assert "<script" not in page(drifts=())
