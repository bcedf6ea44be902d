"""Readings made fit: spikes out, noise known, averages that lose nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.trace import averaged, clean, noise_sd, running_median

RATE_HZ = 80.0


def trace(n=800, noise=0.05, seed=1):
    rng = np.random.default_rng(seed)
    t_s = np.arange(n) / RATE_HZ
    return t_s, 100.0 - 2.0 * t_s + rng.normal(0.0, noise, n)


def test_noise_is_told_from_a_slope_and_from_curves():
    _, force = trace(8000)
    assert noise_sd(force) == pytest.approx(0.05, rel=0.05)
    assert noise_sd(force[:5]) == 0.0


def test_lone_spikes_go_and_nothing_else():
    t_s, force = trace()
    force[[100, 300, 555]] += [30.0, -4.0, 1.0]
    readings = clean(t_s, force)
    gone = sorted(set(range(800)) - set(np.searchsorted(t_s, readings.t_s)))
    assert gone == [100, 300, 555]


def test_a_step_is_no_spike():
    t_s, force = trace()
    force[400:] -= 3.0
    assert clean(t_s, force).t_s.size == 800


@given(st.floats(0.0, 3.0), st.floats(4.0, 9.0))
def test_averages_keep_the_sum_and_the_order(start_s, end_s):
    t_s, force = trace()
    readings = clean(t_s, force)
    bins = averaged(readings, start_s, end_s)
    inside = readings.between(start_s, end_s)
    assert bins.number.sum() == inside.size
    assert bins.force @ bins.number == pytest.approx(inside.sum())
    assert np.all(np.diff(bins.t_s) > 0)


def test_averages_of_nothing_are_empty():
    assert averaged(clean(*trace()), 50.0, 60.0).t_s.size == 0


def test_averages_are_finest_where_they_begin():
    bins = averaged(clean(*trace()), 0.0, 9.0)
    assert bins.number[0] < bins.number[-2]


def test_thinning_keeps_the_mean_and_lowers_the_noise():
    readings = clean(*trace())
    thin = readings.thinned(0.05)
    assert thin.t_s.size == readings.t_s.size // 4
    assert thin.noise == pytest.approx(readings.noise / 2.0)
    assert readings.thinned(0.0125) is readings


def test_running_median_of_a_lone_spike_is_flat():
    assert running_median(np.array([0.0, 0.0, 9.0, 0.0, 0.0]), 3).tolist() == [0.0] * 5


def test_the_level_of_an_empty_stretch_is_not_a_number():
    assert np.isnan(clean(*trace()).level(50.0, 60.0))
