"""Drift over the mornings."""

from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.check.drift import FEWEST, Series, watch
from tensionlog.errors import CalibrationError
from tensionlog.stats.run_length import cusum_alarm_share, cusum_limit


def series(value, **changes):
    known = {"name": "span", "unit": "%", "day": range(len(value)), "value": list(value)}
    return Series(**known | changes)


def steady(seed, n=40, sd=0.03):
    return np.random.default_rng(seed).normal(0.0, sd, n)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(5, 30))
def test_what_was_said_of_the_past_is_not_changed_by_the_future(seed, cut):
    value = steady(seed)
    value[20:] += 0.3
    early, late = watch(series(value[:cut])), watch(series(value))

    if early.alarm_day is not None:
        assert late.alarm_day == early.alarm_day
    if early.alert_day is not None:
        assert late.alert_day == early.alert_day


def test_a_step_is_alerted_dated_and_measured():
    value = steady(1)
    value[20:] += 0.3

    seen = watch(series(value))

    assert 20 <= seen.alert_day <= 24
    assert seen.since_day == pytest.approx(20, abs=1)
    assert seen.shift.size == pytest.approx(0.3, abs=0.06)
    assert "moved by +0.29 % since day 20" in seen.says


def test_an_alarm_too_small_to_matter_is_shown_and_not_alerted():
    value = steady(2, sd=0.01)
    value[20:] += 0.08

    seen = watch(series(value))

    assert seen.alarm_day is not None and not seen.is_alert
    assert "less than the 0.2 that matters" in seen.says


def test_a_small_alarm_that_grows_is_alerted_when_it_matters():
    value = steady(3, sd=0.01)
    value[20:] += 0.02 * np.arange(1, 21)

    seen = watch(series(value))

    assert seen.alarm_day < 26
    assert 28 <= seen.alert_day <= 33


@pytest.mark.parametrize("baseline", [10, 20])
def test_one_reproducibility_a_day_is_found_within_five_mornings(baseline):
    """Median five, 95 % within seven, of 100 histories."""
    rng = np.random.default_rng(4)
    found = []
    for _ in range(100):
        value = rng.normal(size=baseline + 12)
        value[baseline:] += np.arange(1, 13)
        alert_day = watch(series(value, material=0.0)).alert_day
        found.append(alert_day - baseline + 1)

    assert np.median(found) <= 5
    assert np.percentile(found, 95) <= 7


def test_seven_series_cry_wolf_in_at_most_one_history_of_ten():
    rng = np.random.default_rng(5)
    wolf = [
        any(watch(series(rng.normal(size=40), material=0.0)).is_alert for _ in range(7))
        for _ in range(60)
    ]

    # 8.5 % of 600 histories; the bound is 10 % and what 60 histories scatter
    assert np.mean(wolf) < 0.10 + 2.5 * np.sqrt(0.09 / 60)


def test_the_budget_is_worked_out_as_well_as_simulated():
    """43 to 73 % of forty-day histories at the textbook limit, under 10 % at 6.5."""
    assert cusum_alarm_share(k=0.5, h=4.774, readings=38, series=7) > 0.4
    assert cusum_alarm_share(k=0.5, h=6.5, readings=38, series=7) < 0.10
    assert cusum_limit(k=0.5, readings=38, series=7, share=0.0925) == pytest.approx(
        6.5, abs=0.01
    )


def test_a_recalibration_starts_the_chart_anew():
    value = steady(6)
    value[20:] += 0.5

    assert watch(series(value)).is_alert
    after = watch(series(value, restarts=(20,)))
    assert not after.is_alert
    assert len(after.individuals) == 2


def test_a_slow_cell_says_how_long_it_has_left():
    day = np.arange(30.0)
    value = 0.01 * day + steady(7, 30, 0.01)

    seen = watch(series(value, tolerance=0.5))

    assert seen.left.t == pytest.approx(50, abs=5)
    assert seen.left.earliest < seen.left.t < seen.left.latest
    assert "tolerance is reached on day" in seen.says


def test_a_falling_cell_is_measured_against_the_lower_tolerance():
    seen = watch(series(-0.01 * np.arange(30.0) + steady(8, 30, 0.01), tolerance=0.5))

    assert seen.left.t == pytest.approx(50, abs=5)


def test_a_steady_cell_has_for_ever():
    seen = watch(series(np.zeros(10), tolerance=0.5))

    assert seen.left.t == inf
    assert seen.answer()["tolerance_day"] is None
    assert "steady over 10 mornings" in seen.says


def test_too_short_a_history_says_how_many_mornings_are_missing():
    seen = watch(series([0.0, 0.1]))

    assert f"{FEWEST - 2} more morning(s)" in seen.says
    assert seen.trend is None and seen.left is None


def test_a_service_today_waits_again():
    assert "3 more morning(s)" in watch(series(steady(9, 20), restarts=(19,))).says


def test_the_answer_is_plain_values():
    value = steady(10)
    value[20:] += 0.5

    answer = watch(series(value)).answer()

    assert answer["alert"] is True
    assert isinstance(answer["size"], float) and isinstance(answer["since_day"], float)


def test_an_empty_history_is_no_error():
    assert "4 more morning(s)" in watch(series([])).says


def test_mornings_out_of_order_are_refused():
    with pytest.raises(CalibrationError, match="order"):
        watch(series([1.0, 2.0], day=[2, 1]))


def test_days_and_readings_that_do_not_match_are_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="match"):
        watch(series([1.0, 2.0], day=[1]))
