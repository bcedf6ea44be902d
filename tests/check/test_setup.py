"""The set-up of the check: every wrong value is one line that says what is allowed."""

import pytest

from tensionlog.check.setup import rated_of, setup_from_table, tolerance_of
from tensionlog.errors import CalibrationError, SettingsError, TensionlogError


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"masses": [5]}, "key 'masses' that nobody knows"),
        ({"masses_kg": [5, -1]}, "must be above zero"),
        ({"mass_class": "M9"}, "'M9' is not known"),
        ({"daily_kg": []}, "daily_kg = \\[\\]"),
        ({"tolerance_pct": "much"}, "'much'"),
        ({"tolerance_pct": -1}, "-1"),
        ({"rated_N": 0}, "rated load of 0"),
        ({"rated_N": True}, "rated load of True"),
        ({"reference": "spring"}, "'spring' is not known"),
        ({"scale_unit": "stone"}, "'stone'"),
        ({"clamps": "AB"}, "'AB'"),
        ({"gravity": 10.4}, "found nowhere on Earth"),
    ],
)
def test_a_wrong_value_is_refused_with_the_value(table, said):
    with pytest.raises(SettingsError, match=said) as error:
        setup_from_table(table)
    assert "\n" not in str(error.value)


def test_nothing_set_is_a_set_up_without_masses():
    setup = setup_from_table({})

    assert setup.daily == () and setup.weekly == ()
    assert setup.tolerance.at_n(100.0) == 0.5


def test_without_a_plan_the_heaviest_piece_is_hung_daily_and_all_up_and_down_weekly():
    setup = setup_from_table({"masses_kg": [20, 5, 10]})

    assert setup.daily == (20.0,)
    assert setup.weekly == (5.0, 10.0, 20.0, 10.0, 5.0)


def test_a_load_that_the_cell_may_not_carry_is_refused_in_the_set_up():
    with pytest.raises(CalibrationError, match="Do not hang it"):
        setup_from_table({"masses_kg": [20], "rated_N": 100})


def test_loads_of_a_calibration_leave_out_what_is_above_the_rated_load():
    setup = setup_from_table({"masses_kg": [2, 5, 10], "rated_N": 150, "weekly_kg": [2, 5]})

    loads = setup.calibration_loads()

    assert len(loads) == 6
    assert all(setup.force_n(x) <= 150 for x in loads)


def test_a_scale_hangs_forces_and_stays_in_place():
    setup = setup_from_table({"reference": "scale", "daily_N": [110]})

    assert setup.is_scale and setup.in_place
    assert setup.force_n(110.0) == 110.0


def test_notes_without_a_tolerance_have_the_usual_one_and_no_rated_load():
    assert tolerance_of({}).floor_n == 0.3
    assert rated_of({}) is None
    with pytest.raises(TensionlogError, match="no per cent"):
        tolerance_of({"tolerance_floor_N": [1]})
