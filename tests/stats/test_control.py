"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tensionlog.errors import CalibrationError
from tensionlog.stats.control import (
    cusum_chart,
    cusum_of_scores,
    ewma_chart,
    individuals_between_marks,
    individuals_chart,
)

SERIES = arrays(np.float64, st.integers(2, 30), elements=st.floats(-50, 50, width=32))


@given(SERIES, st.floats(-100, 100))
def test_moving_a_series_moves_its_individuals_chart(series, shift):
    here, there = individuals_chart(series), individuals_chart(series + shift)

    assert there.centre == pytest.approx(here.centre + shift, abs=1e-9)
    assert there.upper - there.lower == pytest.approx(here.upper - here.lower, abs=1e-9)


@given(SERIES)
def test_an_ewma_of_weight_one_is_the_series_itself(series):
    chart = ewma_chart(series, target=0.0, sigma=1.0, weight=1.0)

    assert chart.values == pytest.approx(series)


@given(SERIES)
def test_a_mirrored_series_swaps_the_sums_of_a_cusum(series):
    chart = cusum_chart(series, target=0.0, sigma=2.0)
    mirrored = cusum_chart(-series, target=0.0, sigma=2.0)

    assert np.array_equal(chart.high, mirrored.low)
    assert chart.alarms == mirrored.alarms


@given(SERIES, st.integers(1, 20))
def test_a_restart_forgets_what_came_before(series, cut):
    mark = min(cut, len(series) - 1)

    whole = cusum_of_scores(series, k=0.5, h=5.0, restarts=[mark])
    late = cusum_of_scores(series[mark:], k=0.5, h=5.0)

    assert np.array_equal(whole.high[mark:], late.high)
    assert np.array_equal(whole.low[mark:], late.low)


HANDBOOK_INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_handbook_6_3_2_2_individuals():
    chart = individuals_chart(HANDBOOK_INDIVIDUALS)

    assert chart.centre == pytest.approx(50.81)
    assert chart.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)
    assert chart.lower == pytest.approx(45.8159, abs=5e-5)
    assert chart.outside == ()


def test_handbook_6_3_2_4_ewma():
    readings = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
    readings += HANDBOOK_INDIVIDUALS

    chart = ewma_chart(readings, target=50.0, sigma=2.0539, weight=0.3)

    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    printed += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    assert chart.values == pytest.approx(printed, abs=0.00501)
    assert chart.upper[-1] == pytest.approx(52.5884, abs=5e-5)
    assert chart.lower[-1] == pytest.approx(47.41157, abs=5e-6)
    assert chart.alarms == ()


def test_a_cusum_worked_by_hand():
    """Target 10, sigma 1, k 0.5: 11.5 adds 1.0 above, 9 takes 1.5 off, and so on."""
    chart = cusum_chart([11.5, 9.0, 12.0, 12.5, 8.0], target=10.0, sigma=1.0, h=3.0)

    assert chart.high == pytest.approx([1.0, 0.0, 1.5, 3.5, 1.0])
    assert chart.low == pytest.approx([0.0, 0.5, 0.0, 0.0, 1.5])
    assert chart.alarms == (3,)
    assert chart.since == (2,)


def test_a_head_start_calls_a_chart_that_begins_off_target_sooner():
    off = np.full(10, 1.0)

    plain = cusum_chart(off, target=0.0, sigma=1.0, h=4.0)
    eager = cusum_chart(off, target=0.0, sigma=1.0, h=4.0, head_start=2.0)

    assert eager.alarms[0] < plain.alarms[0]


def test_limits_of_an_ewma_that_starts_up_widen_to_the_constant_ones():
    chart = ewma_chart(np.zeros(60), target=0.0, sigma=1.0, weight=0.2, starting_up=True)

    assert chart.upper[0] == pytest.approx(3 * 0.2)  # after one reading: L * lambda
    assert chart.upper[-1] == pytest.approx(3 * np.sqrt(0.2 / 1.8), rel=1e-9)
    assert np.all(np.diff(chart.upper) >= 0)


def test_a_reading_outside_the_limits_of_its_baseline_is_named():
    chart = individuals_chart([*HANDBOOK_INDIVIDUALS, 40.0], baseline=10)

    assert chart.outside == (10,)
    assert chart.upper == pytest.approx(55.8041, abs=5e-5)


def test_an_average_beyond_its_limit_is_an_alarm():
    chart = ewma_chart([0.0, 0.0, 9.0, 9.0], target=0.0, sigma=1.0)

    assert chart.alarms == (2, 3)


def test_each_stretch_between_marks_has_its_own_limits():
    low, high, short = individuals_between_marks([1, 2, 1, 9, 8, 9, 5], restarts=[3, 6])

    assert (low.centre, high.centre, short) == (
        pytest.approx(4 / 3),
        pytest.approx(26 / 3),
        None,
    )


def test_one_reading_is_no_baseline():
    with pytest.raises(CalibrationError, match="2 readings to begin with, not 1"):
        individuals_chart([1.0])


@pytest.mark.parametrize(("weight", "sigma"), [(0.0, 1.0), (1.1, 1.0), (0.3, 0.0)])
def test_an_ewma_that_cannot_be_is_refused(weight, sigma):
    with pytest.raises(CalibrationError, match="EWMA"):
        ewma_chart([1.0], target=0.0, sigma=sigma, weight=weight)


@pytest.mark.parametrize(
    ("sigma", "k", "h"), [(0.0, 0.5, 5.0), (1.0, -1.0, 5.0), (1.0, 0.5, 0)]
)
def test_a_cusum_that_cannot_be_is_refused(sigma, k, h):
    with pytest.raises(CalibrationError, match="CUSUM"):
        cusum_chart([1.0], target=0.0, sigma=sigma, k=k, h=h)


def test_readings_that_are_not_numbers_are_refused_with_their_count():
    with pytest.raises(CalibrationError, match="2 of 3"):
        individuals_chart([np.nan, 1.0, np.inf])


def test_a_table_is_not_a_series():
    with pytest.raises(ValueError, match="shape"):
        individuals_chart([[1.0, 2.0]])
