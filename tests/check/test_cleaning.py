"""Spikes and saturated codes out, noise measured."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.cleaning import clean, is_spike, noise_sd, resolution

SEEDS = st.integers(0, 2**31)


@given(SEEDS, st.floats(-1e6, 1e6), st.floats(0.1, 1e4))
def test_a_spike_is_found_wherever_zero_and_scale_are(seed, zero, noise):
    rng = np.random.default_rng(seed)
    x = zero + noise * rng.normal(size=60)
    x[30] += 100 * noise

    assert is_spike(x)[30]


def test_clean_noise_is_hardly_ever_called_a_spike():
    x = np.random.default_rng(1).normal(size=100_000)

    assert is_spike(x).mean() < 1e-4


def test_a_steep_hand_over_is_not_all_spikes():
    x = np.concatenate([np.zeros(40), np.linspace(0, 1000, 10), np.full(40, 1000.0)])
    x += np.random.default_rng(2).normal(0, 0.1, len(x))

    assert is_spike(x).sum() <= 4


def test_saturated_codes_and_holes_never_get_through():
    counts = np.array([0.0, 1, 2, 8388607, -8388608, np.nan, 3, 4, 1, 2, 0, 1, 2])

    kept = clean(t_s=np.arange(13.0), counts=counts, adc_bits=24)

    assert kept.saturated == 2
    assert np.abs(kept.reading).max() < 100
    assert len(kept.t_s) == len(kept.reading) == 10


def test_without_a_width_no_code_is_saturated():
    assert clean(t_s=np.arange(3.0), counts=np.full(3, 8388607.0), adc_bits=None).saturated == 0


@pytest.mark.parametrize("n", [60, 400])
def test_noise_is_measured_under_a_swing_and_a_step(n):
    rng = np.random.default_rng(3)
    t = np.arange(n) / 80
    x = rng.normal(0, 0.05, n) + 50 * (t > t[-1] / 2) + 0.5 * np.sin(6 * t)

    assert noise_sd(x) == pytest.approx(0.05, rel=0.35)


def test_too_few_samples_have_no_noise():
    assert noise_sd(np.array([1.0, 2.0])) == 0.0


def test_resolution_is_the_smallest_step():
    assert resolution(np.array([0.5, 0.0, 1.5, 0.5])) == 0.5
    assert resolution(np.full(9, 3.0)) == 0.0
