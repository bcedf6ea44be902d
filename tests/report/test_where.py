"""Whoever types no command is told where they stand and one next step."""

from datetime import UTC, datetime

import pytest

from tensionlog.report.where import where_lines

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
TODAY, YESTERDAY = "2026-03-02T07:00:00Z", "2026-03-01T07:00:00Z"


def stands(*, checked=TODAY, verdict="good", alerts=()):
    return {
        "bench": "north",
        "cell": {"checked": checked, "verdict": verdict if checked else None},
        "alerts": [{"state": state, "cause": cause} for state, cause in alerts],
    }


def said(bench="north", port="/dev/bench", **how):
    lines = list(where_lines(bench=bench, port=port, now=NOW, **how))
    (step,) = [line for line in lines if line.startswith("Next: ")]
    return lines, step


def test_without_a_bench_it_offers_the_simulated_one():
    lines, step = said(bench=None, port=None, stands=None)
    assert lines[0] == "No bench is set up yet."
    assert "tensionlog demo" in step


@pytest.mark.parametrize(
    ("how", "step"),
    [
        ({"stands": None}, "device check"),
        ({"stands": None, "port": None}, "bench set --port"),
        ({"stands": stands(checked=None)}, "tensionlog check,"),
        ({"stands": stands(checked=YESTERDAY)}, "tensionlog check,"),
        ({"stands": stands(verdict="adjust")}, "said adjust"),
        ({"stands": stands()}, "tensionlog serve"),
        ({"stands": stands(alerts=[("closed", "clamp-A")])}, "tensionlog serve"),
        ({"stands": stands(alerts=[("acted", "clamp-A")])}, "tensionlog serve"),
        ({"stands": stands(checked=None, alerts=[("raised", "clamp-B")])}, "tensionlog alerts"),
    ],
)
def test_the_next_step_is_the_first_that_is_missing(how, step):
    assert step in said(**how)[1]


def test_last_check_and_open_alerts_are_told():
    alerts = [("seen", "clamp-B"), ("closed", "cell-span"), ("raised", "clamp-B")]
    lines, _ = said(stands=stands(checked=YESTERDAY, alerts=alerts))
    assert lines[1] == "Last morning check 2026-03-01 (yesterday): good."
    assert lines[2] == "2 open alerts: clamp-B."
