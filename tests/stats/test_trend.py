"""Slow trends, and when a limit is reached."""

from math import inf

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tensionlog.errors import CalibrationError
from tensionlog.stats.trend import theil_sen, time_until


@given(st.floats(-5, 5), st.floats(-100, 100), st.integers(3, 30))
def test_points_on_a_line_give_it_back_with_a_shut_interval(slope, level, n):
    t = np.arange(float(n))

    trend = theil_sen(t, level + slope * t)

    assert trend.slope == pytest.approx(slope, abs=1e-9)
    assert trend.slope_high - trend.slope_low == pytest.approx(0, abs=1e-9)
    assert trend.at(2.0) == pytest.approx(level + 2 * slope, abs=1e-8)


@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(-5, 5)), min_size=4, max_size=25).filter(
        lambda points: len({t for t, _ in points}) >= 3
    ),
    st.sampled_from([0.5, 0.8, 0.95]),
)
def test_slopes_and_intervals_are_those_of_a_general_library(points, confidence):
    from scipy.stats import theilslopes

    t, y = np.array(points, dtype=np.float64).T
    trend = theil_sen(t, y, confidence=confidence)
    with np.errstate(invalid="ignore"):
        theirs = theilslopes(y, t, alpha=confidence)
    assume(not np.isnan(theirs[2]))  # so many ties that theirs gives no interval

    assert (trend.slope, trend.slope_low, trend.slope_high) == pytest.approx(
        (theirs[0], theirs[2], theirs[3]), abs=1e-12
    )


def test_a_quarter_of_wild_readings_does_not_bend_the_slope():
    t = np.arange(40.0)
    y = 0.1 * t + np.random.default_rng(2).normal(0, 0.05, 40)
    y[::4] += 20

    assert theil_sen(t, y).slope == pytest.approx(0.1, abs=0.02)


def test_the_interval_covers_the_slope_as_often_as_it_says():
    rng = np.random.default_rng(4)
    t = np.arange(20.0)
    trends = [theil_sen(t, 0.05 * t + rng.normal(size=20)) for _ in range(250)]

    covered = np.mean([trend.slope_low <= 0.05 <= trend.slope_high for trend in trends])

    assert covered == pytest.approx(0.95, abs=0.03)


def test_the_time_left_covers_the_true_day_as_often_as_it_says():
    rng = np.random.default_rng(6)
    t = np.arange(25.0)
    lefts = [
        time_until(theil_sen(t, 0.1 * t + rng.normal(0, 0.3, 25)), limit=5.0)
        for _ in range(250)
    ]

    covered = np.mean([left.earliest <= 50.0 <= left.latest for left in lefts])

    # both ends are pushed outwards by the level as well, so it errs to the safe side
    assert 0.93 <= covered <= 1.0
    assert np.median([left.t for left in lefts]) == pytest.approx(50.0, rel=0.05)


def test_a_falling_series_reaches_a_limit_below_it():
    t = np.arange(10.0)

    left = time_until(theil_sen(t, -0.5 * t), limit=-10.0)

    assert left.t == pytest.approx(20.0)


def test_a_series_that_stands_still_never_reaches_its_limit():
    t = np.arange(10.0)

    left = time_until(theil_sen(t, np.zeros(10)), limit=1.0)

    assert left.t == inf and left.latest == inf


def test_a_level_that_may_be_past_the_limit_already_says_now():
    t = np.arange(9.0)
    wobble = np.tile([1.0, -1.0, 0.0], 3)

    left = time_until(theil_sen(t, wobble), limit=0.1)

    assert left.earliest == 4.0  # the middle of the series


def test_three_different_times_are_needed():
    with pytest.raises(CalibrationError, match="3 different times, not 2"):
        theil_sen([1, 1, 2], [0, 0, 0])


def test_shapes_that_differ_are_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="one shape"):
        theil_sen([1, 2], [0, 0, 0])
