"""The state of a bench on a day, as `status` answers it."""

import json

import pytest

from tensionlog.clamps.alerts import Alert
from tensionlog.clamps.hold_result import HoldLimits
from tensionlog.clamps.records import Checked, Dialled, Served
from tensionlog.clamps.records import Tested as OneTest
from tensionlog.clamps.series import BASELINE, DAY_S
from tensionlog.clamps.status import iso, status_of


def gives(values, clamp="A", *, reasons=(), verdict="good"):
    return [
        OneTest(
            recording_s=day * DAY_S,
            at_s=day * DAY_S + 60.0,
            clamp=clamp,
            target_n=120.0,
            give_mm=value,
            verdict=verdict,
            reasons=reasons,
        )
        for day, value in enumerate(values)
    ]


def state(records, *, at_day=99.0, alerts=(), **given):
    status = status_of(records, at_s=at_day * DAY_S, alerts=alerts, **given)
    return next(one for one in status.clamps if one.clamp == "A")


def alert(**changed):
    told = {
        "raised_s": 5.5 * DAY_S,
        "cause": "clamp-A",
        "runner_up": None,
        "text": "t",
        "do": "d",
        "evidence": ("e",),
        "since_s": 4.0 * DAY_S,
        "watched": {"give-A": 0.8},
    }
    return Alert(**{**told, **changed})


def test_a_clamp_stands_by_its_latest_tests_and_since_when():
    found = state(gives([0.8, 0.8, 0.8, 1.2, 1.2, 1.2]))
    assert (found.state, found.give_mm) == ("watch", 1.2)
    assert found.since_s == 4 * DAY_S + 60.0
    assert state(gives([0.8, 2.0, 2.0])).state == "service"


def test_one_bad_test_among_good_ones_changes_no_state():
    assert state(gives([0.8, 0.8, 0.8, 1.9])).state == "good"


def test_what_came_later_is_not_known_yet():
    assert state(gives([0.8, 0.8, 0.8, 2.0, 2.0, 2.0]), at_day=2.5).state == "good"


def test_creep_of_the_last_test_counts_at_once():
    tests = [*gives([0.8]), *gives([0.8], reasons=("creeps 0.2 N/s",), verdict="service")]
    assert state(tests).state == "service"


def test_the_bench_sets_the_limits():
    assert state(gives([0.8]), limits=HoldLimits(watch_mm=0.7)).state == "watch"


def test_an_open_alert_is_watched_and_a_closed_one_not():
    assert state(gives([0.8]), alerts=[alert()]).state == "watch"
    assert state(gives([0.8]), alerts=[alert()]).since_s == 5.5 * DAY_S
    assert state(gives([0.8]), alerts=[alert(state="closed", closed_s=1.0)]).state == "good"


def test_after_a_service_only_what_came_after_it_counts():
    served = Served(recording_s=2.5 * DAY_S, at_s=2.5 * DAY_S, clamp="A")
    found = state([*gives([2.0, 2.0, 2.0, 0.9]), served])
    assert (found.state, found.give_mm, found.tests) == ("good", 0.9, 1)
    assert found.needed == BASELINE - 1
    before = state([*gives([2.0, 2.0, 2.0]), served])
    assert before.state == "service"


def test_a_clamp_whose_tests_gave_no_answer_has_no_state():
    found = state(gives([None], verdict=None))
    assert (found.state, found.give_mm, found.since_s) == (None, None, None)


def test_the_answer_is_the_pinned_one():
    records = [
        *gives([0.8]),
        Checked(recording_s=0.0, at_s=1.0, zero_n=0.1, span_pct=0.2, verdict="good"),
        Dialled(recording_s=0.0, at_s=2.0, head_pct=-1.0),
    ]
    open_one = alert(cause="cell-span", watched={"span": 0.0})
    status = status_of(records, at_s=DAY_S, alerts=[open_one])
    answer = json.loads(json.dumps(status.answer(), allow_nan=False))
    assert set(answer) == {"cell", "head", "clamps", "alerts"}
    assert answer["cell"]["state"] == "watch"
    assert answer["head"] == {
        "state": "good",
        "error_pct": -1.0,
        "checked": "1970-01-01T00:00:02.000000Z",
    }
    assert answer["clamps"][0]["since"] == "1970-01-01T00:01:00.000000Z"
    told = answer["alerts"][0]
    assert told["raised"] == iso(5.5 * DAY_S)
    assert (told["closed"], told["state"], told["evidence"]) == (None, "raised", ["e"])


def test_an_empty_history_is_an_answer_too():
    answer = status_of([], at_s=0.0).answer()
    assert answer["clamps"] == []
    assert answer["alerts"] == []
    assert answer["cell"]["zero_N"] is None
    assert answer["cell"]["state"] is None


@pytest.mark.parametrize("needed", [0, 3])
def test_a_baseline_says_how_many_more_it_needs(needed):
    assert state(gives([0.8] * (BASELINE - needed))).needed == needed
