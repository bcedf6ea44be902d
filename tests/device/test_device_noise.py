"""Noise, wander and drift of the empty cell, from numbers that are known."""

import numpy as np
import pytest

from tensionlog.device.noise import noise_of


def readings(*, seconds=60.0, rate_hz=80.0, sd=450.0, walk=0.0, drift_per_h=0.0, seed=1):
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    zero = np.cumsum(rng.standard_normal(len(t_s))) * walk / np.sqrt(rate_hz)
    y = 84211 + zero + drift_per_h * t_s / 3600 + sd * rng.standard_normal(len(t_s))
    return t_s, np.round(y)


def test_noise_is_found_whatever_the_zero_does_meanwhile():
    found = noise_of(*readings(walk=40.0, drift_per_h=90_000.0))
    assert found.sd == pytest.approx(450.0, abs=3.0 * found.u_sd)
    assert found.u_sd < 0.03 * 450.0


def test_spikes_do_not_make_it_noisier():
    t_s, y = readings()
    y[::97] += 200_000
    assert noise_of(t_s, y).sd == pytest.approx(450.0, rel=0.05)


def test_drift_is_within_its_uncertainty_two_times_in_three():
    truth = 36_000.0
    found = [noise_of(*readings(walk=60.0, drift_per_h=truth, seed=s)) for s in range(24)]
    inside = [abs(f.drift_per_h - truth) <= f.u_drift_per_h for f in found]
    assert 12 <= sum(inside) <= 23  # 16 of 24 would be it


def test_white_noise_alone_is_not_called_wander():
    walks = [noise_of(*readings(seed=s)).walk for s in range(15)]
    assert sum(walk > 0.0 for walk in walks) <= 3


def test_a_strong_wander_is_measured():
    walks = [noise_of(*readings(walk=200.0, seed=s)).walk for s in range(6)]
    assert np.median(walks) == pytest.approx(200.0, rel=0.25)


def test_a_code_that_repeats_is_told():
    t_s, y = readings()
    assert noise_of(t_s, np.full_like(y, -1.0)).repeats == 1.0
    assert noise_of(t_s, y).repeats < 0.01


def test_a_few_readings_tell_nothing():
    assert noise_of(*readings(seconds=1.0)) is None
    assert noise_of(np.empty(0), np.empty(0)) is None


def test_a_slow_converter_is_measured_in_longer_blocks():
    found = noise_of(*readings(seconds=120.0, rate_hz=10.0))
    assert found.sd == pytest.approx(450.0, rel=0.1)
