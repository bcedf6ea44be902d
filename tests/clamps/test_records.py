"""Records of stored answers: what is compared over weeks, and what is left out."""

import pytest

from tensionlog.clamps.records import checked_of, dialled_of, strung_of
from tensionlog.clamps.records import tested_of as hold_of
from tensionlog.model.job import Job

JOB = Job(
    ref="J1",
    sport="badminton",
    mains=2,
    crosses=0,
    target_mains_n=120.0,
    target_crosses_n=None,
    targets_n={},
    sequence=("L1", "R1"),
    clamp_left="A",
    clamp_right="B",
    clamp_start="B",
    clamps_crosses="AB",
    ea_mains_n=5000.0,
    ea_crosses_n=None,
    u_ea_pct=5.0,
    spans_m={"L1": 0.3, "R1": 0.3},
    raw={"string": "soft"},
)

AT = {"recording_s": 1.0, "at_s": 2.0}


def test_a_check_keeps_the_error_of_each_load():
    points = [
        {"load": "5 kg", "error_N": 0.1, "reference_N": 50.0},
        {"load": "5 kg", "error_N": 0.2, "reference_N": 50.0},
        {"error_N": None, "reference_N": 98.0},
    ]
    found = checked_of({"zero_N": 0.5, "span_error_pct": 0.2, "points": points}, **AT)
    assert found.loads_pct == {"5 kg": pytest.approx(0.3)}
    assert (found.zero_n, found.span_pct, found.verdict) == (0.5, 0.2, None)
    assert checked_of({}, **AT).loads_pct == {}


def test_a_head_that_locks_is_read_at_its_peak_another_once_it_settled():
    pulls = [{"set_N": 100.0, "peak_N": 102.0, "at_3s_N": 99.0}]
    assert dialled_of(pulls, locks=True, **AT).head_pct == pytest.approx(2.0)
    assert dialled_of(pulls, locks=False, **AT).head_pct == pytest.approx(-1.0)
    short = [{"set_N": 100.0, "peak_N": 102.0, "at_3s_N": None}]
    assert dialled_of(short, locks=False, **AT).head_pct == pytest.approx(2.0)
    assert dialled_of([], locks=False, **AT) is None


def test_a_hold_test_keeps_what_is_compared():
    found = hold_of(
        {"clamp": "A", "give_mm": 1.1, "relaxation_per_decade": 0.04, "verdict": "watch"}, **AT
    )
    assert (found.clamp, found.give_mm, found.verdict) == ("A", 1.1, "watch")
    assert found.relaxation_pct == pytest.approx(4.0)
    assert hold_of({"clamp": "A"}, **AT).relaxation_pct is None


def test_a_job_without_a_release_says_little():
    found = strung_of(job=JOB, pulls=[], phi_max=0.95, **AT)
    assert (found.a_minus_b_mm, found.early_pct, found.relaxation_pct) == (None, None, None)
    assert found.string == "soft"
