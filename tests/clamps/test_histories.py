"""Hold tests become series: one force, one clamp each, services as marks."""

from tensionlog.clamps.histories import Served, hold_series, usual_force
from tensionlog.clamps.histories import Tested as OneTest
from tensionlog.clamps.hold_result import HoldResult


def held(at_s, clamp="A", *, give_mm=1.0, target_n=120.0, relaxation=0.04, problem=None):
    return OneTest(
        at_s,
        HoldResult(
            clamp=clamp,
            unit="N",
            target_n=target_n,
            give_mm=give_mm,
            relaxation=relaxation,
            problem=problem,
        ),
    )


def test_each_clamp_has_its_give_and_all_share_the_relaxation():
    found = hold_series([held(2.0, give_mm=1.1), held(1.0), held(3.0, "B", give_mm=0.8)])
    assert found["give-A"].values == (1.0, 1.1)
    assert found["give-B"].times_s == (3.0,)
    assert found["relaxation"].values == (4.0, 4.0, 4.0)


def test_a_test_at_another_force_is_not_compared():
    found = hold_series(
        [held(1.0), held(2.0, target_n=121.0), held(3.0), held(4.0, target_n=90.0)]
    )
    assert found["give-A"].times_s == (1.0, 2.0, 3.0)


def test_a_problem_or_missing_millimetres_leave_a_gap():
    found = hold_series([held(1.0), held(2.0, problem="broke"), held(3.0, give_mm=None)])
    assert found["give-A"].times_s == (1.0,)
    assert found["relaxation"].times_s == (1.0, 3.0)


def test_a_service_marks_its_own_clamp():
    found = hold_series([held(1.0), held(2.0, "B")], [Served(1.5, "B")])
    assert found["give-A"].marks_s == ()
    assert found["give-B"].marks_s == (1.5,)


def test_nothing_is_no_series():
    assert hold_series([]) == {}
    assert usual_force([]) is None
    assert hold_series([held(1.0, relaxation=None, give_mm=None)]) == {}
