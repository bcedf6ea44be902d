"""Records become series: one force, one clamp each, services and calibrations as marks."""

import pytest

from tensionlog.clamps.histories import series_of, usual_force_n
from tensionlog.clamps.records import Checked, Dialled, Served, Strung
from tensionlog.clamps.records import Tested as OneTest


def held(at_s, clamp="A", *, give_mm=1.0, target_n=120.0, relaxation_pct=4.0, verdict="good"):
    return OneTest(
        recording_s=at_s,
        at_s=at_s,
        clamp=clamp,
        target_n=target_n,
        give_mm=give_mm,
        relaxation_pct=relaxation_pct,
        verdict=verdict,
    )


def checked(at_s, *, zero_n=0.1, span_pct=0.2, loads_pct=None, calibration="first"):
    return Checked(
        recording_s=at_s,
        at_s=at_s,
        zero_n=zero_n,
        span_pct=span_pct,
        loads_pct=loads_pct or {},
        calibration=calibration,
    )


def strung(at_s, **said):
    return Strung(recording_s=at_s, at_s=at_s, **said)


def test_each_clamp_has_its_give_and_all_share_the_relaxation():
    found = series_of([held(2.0, give_mm=1.1), held(1.0), held(3.0, "B", give_mm=0.8)])
    assert found["give-A"].values == (1.0, 1.1)
    assert found["give-B"].times_s == (3.0,)
    assert found["relaxation"].values == (4.0, 4.0, 4.0)


def test_a_test_at_another_force_is_not_compared():
    found = series_of(
        [held(1.0), held(2.0, target_n=121.0), held(3.0), held(4.0, target_n=90.0)]
    )
    assert found["give-A"].times_s == (1.0, 2.0, 3.0)


def test_no_answer_or_missing_millimetres_leave_a_gap():
    found = series_of([held(1.0), held(2.0, verdict=None), held(3.0, give_mm=None)])
    assert found["give-A"].times_s == (1.0,)
    assert found["relaxation"].times_s == (1.0, 3.0)


def test_a_service_marks_its_own_clamp_and_the_difference():
    served = Served(recording_s=1.5, at_s=1.5, clamp="B")
    found = series_of([held(1.0), held(2.0, "B"), strung(2.0, a_minus_b_mm=0.1), served])
    assert found["give-A"].marks_s == ()
    assert found["give-B"].marks_s == (1.5,)
    assert found["a-minus-b"].marks_s == (1.5,)


def test_another_calibration_marks_what_the_cell_reads():
    found = series_of([checked(1.0), checked(2.0), checked(3.0, calibration="second")])
    assert found["zero"].since_mark().times_s == (3.0,)
    assert found["span"].since_mark().values == (0.2,)


def test_two_loads_are_compared_with_each_other():
    loads = {"5 kg": 0.3, "10 kg": 0.1}
    found = series_of([checked(1.0, loads_pct=loads), checked(2.0, loads_pct={"5 kg": 0.2})])
    assert found["reference"].times_s == (1.0,)
    assert abs(found["reference"].values[0]) == pytest.approx(0.2)


def test_jobs_are_compared_by_the_string_that_is_strung_most():
    jobs = [strung(float(n), relaxation_pct=4.0 + n, string="one") for n in range(3)]
    found = series_of([*jobs, strung(9.0, relaxation_pct=9.0, string="other")])
    assert found["batch"].values == (4.0, 5.0, 6.0)


def test_heads_are_in_order_of_time():
    heads = [Dialled(recording_s=t, at_s=t, head_pct=t) for t in (2.0, 1.0)]
    assert series_of(heads)["head"].values == (1.0, 2.0)


def test_nothing_is_no_series():
    assert series_of([]) == {}
    assert usual_force_n([]) is None
    assert series_of([held(1.0, relaxation_pct=None, give_mm=None)]) == {}
    assert series_of([held(1.0, target_n=None)])["give-A"].values == (1.0,)
