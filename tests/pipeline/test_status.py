"""How a bench stands: pinned words, what is not known is null."""

import json
from datetime import timedelta

from tensionlog.pipeline.status import bench_status
from tensionlog.pipeline.watch import keep_watch

from .conftest import DAY_ONE


def clamp(store, **asked):
    return bench_status(store, "north", **asked)["clamps"][0]


def test_a_bench_without_anything_says_so(store, days):
    days.sitting(0)
    answer = bench_status(store, "north")

    assert answer["clamps"] == answer["alerts"] == []
    assert answer["cell"]["state"] is answer["cell"]["checked"] is None
    assert answer["head"]["error_pct"] is None
    json.dumps(answer, allow_nan=False)


def test_a_clamp_stands_as_its_latest_tests_and_since_when(store, days):
    for day, mm in enumerate([0.8, 1.2, 0.8, 1.3, 1.2]):
        days.hold(day, "A", mm)
    keep_watch(store)

    now = clamp(store)
    assert (now["clamp"], now["state"], now["give_mm"]) == ("A", "watch", 1.2)
    assert now["since"] == "2026-03-05T07:05:01.000000Z"  # by the median of three
    assert now["u_give_mm"] == 0.05
    assert clamp(store, at=DAY_ONE + timedelta(days=1))["state"] == "good"


def test_a_clamp_known_only_from_a_service_is_there_too(store, days):
    days.service(0, clamp="C")
    keep_watch(store)

    assert clamp(store)["clamp"] == "C"
    assert clamp(store)["state"] is None
    assert clamp(store)["served"]["what"] == "cleaned"


def test_too_little_history_says_how_many_tests_are_missing(store, days):
    for day in range(3):
        days.morning(day)
    keep_watch(store)

    assert clamp(store)["needed"] == 5
    assert clamp(store)["service_due"] is None


def test_a_clamp_that_wears_says_when_a_service_is_due(store, days):
    for day in range(12):
        days.morning(day, give=(0.8 + 0.04 * day, 0.9))
    keep_watch(store)

    due = clamp(store)["service_due"]
    assert due["earliest"] < due["at"]
    assert "2026-03-14" < due["at"] < "2026-06"


def test_open_alerts_stand_beside_what_they_speak_of(worn):
    answer = bench_status(worn.store, "north")

    assert answer["clamps"][1]["alert"] == answer["alerts"][0]["alert"]
    assert answer["clamps"][0]["alert"] is answer["cell"]["alert"] is None
    assert answer["alerts"][0]["state"] == "raised"
    assert {"raised", "cause", "runner_up", "text", "do", "evidence", "closed"} <= set(
        answer["alerts"][0]
    )
