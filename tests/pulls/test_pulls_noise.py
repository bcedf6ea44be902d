"""How noisy a trace is, which samples are spikes, how far the zero walks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.noise import wander, white_noise, with_crest, without_spikes

SEEDS = st.integers(0, 10_000)


def hold(seed: int, *, n: int = 320, noise: float = 0.05, step: float = 0.0) -> np.ndarray:
    t = np.arange(n) / 80.0
    y = 250.0 * (1.0 - 0.04 * np.log10(1.0 + t / 0.2)) - step * (t > 2.0)
    return y + np.random.default_rng(seed).normal(0.0, noise, n)


@given(seed=SEEDS, noise=st.floats(1e-3, 10.0), step=st.floats(-50.0, 50.0))
@settings(max_examples=30)
def test_noise_is_found_whatever_the_force_does_slowly_or_once(seed, noise, step):
    assert white_noise(hold(seed, noise=noise, step=step)) == pytest.approx(noise, rel=0.35)


@given(seed=SEEDS, scale=st.floats(1e-3, 1e3), offset=st.floats(-1e4, 1e4))
@settings(max_examples=30)
def test_noise_scales_with_the_unit_and_not_with_the_zero(seed, scale, offset):
    y = hold(seed)

    assert white_noise(scale * y + offset) == pytest.approx(scale * white_noise(y), rel=1e-6)


@given(n=st.integers(0, 4))
def test_too_few_samples_have_no_noise(n: int):
    assert white_noise(np.arange(n, dtype=float) ** 2) == 0.0


@given(seed=SEEDS, at=st.lists(st.integers(10, 300), min_size=1, max_size=8, unique=True))
@settings(max_examples=40)
def test_single_spikes_are_replaced_and_nothing_else_moves_far(seed, at):
    at = [i for n, i in enumerate(sorted(at)) if n == 0 or i - sorted(at)[n - 1] > 6]
    y = hold(seed)
    spiked = y.copy()
    spiked[at] += np.random.default_rng(seed).choice([-1, 1], len(at)) * 40.0

    clean, odd = without_spikes(spiked, 0.05)

    assert odd[at].all()
    assert np.abs(clean[at] - y[at]).max() < 2.5
    assert np.abs(clean - y)[~odd].max() == 0.0


def test_two_spikes_in_a_row_are_replaced():
    y = hold(1)
    spiked = y.copy()
    spiked[[100, 101]] += (60.0, 55.0)

    clean, odd = without_spikes(spiked, 0.05)

    assert odd[[100, 101]].all()
    assert np.abs(clean - y).max() < 1.0


@given(seed=SEEDS)
@settings(max_examples=30)
def test_noise_alone_is_hardly_ever_called_a_spike(seed):
    _, odd = without_spikes(hold(seed), 0.05)

    assert odd.sum() == 0


@given(step=st.floats(1.0, 60.0))
@settings(max_examples=20)
def test_a_step_stays_a_step(step: float):
    y = hold(3, step=step)

    clean, _ = without_spikes(y, 0.05)

    assert np.abs(clean - y).max() < 0.3


def test_the_lowest_sample_of_a_dip_that_a_motor_makes_good_stays():
    t = np.arange(200) / 80.0
    dip = 250.0 - 6.0 * np.where(t > 1.0, np.exp(-(t - 1.0) / 0.1), 0.0)
    y = np.convolve(np.pad(dip, 3, mode="edge"), np.ones(4) / 4, "valid")[:200]

    clean, _ = without_spikes(y, 0.02)

    assert clean.min() == y.min()


@pytest.mark.parametrize("n", [0, 1, 4, 12])
def test_a_trace_too_short_to_judge_is_left_alone(n: int):
    y = np.zeros(n)
    if n:
        y[n // 2] = 99.0

    clean, odd = without_spikes(y, 0.01)

    assert np.array_equal(clean, y)
    assert not odd.any()


@pytest.mark.parametrize("rate", [0.002, 0.006, 0.01])
def test_the_zeros_walk_is_found_from_the_idle_gaps(rate: float):
    """The median of 400 squared differences: a standard error of some 6 %."""
    rng = np.random.default_rng(12)
    times = np.cumsum(rng.uniform(8.0, 40.0, 400))
    walked = np.cumsum(rng.normal(0.0, rate * np.sqrt(np.diff(times, prepend=0.0))))
    u = np.full(400, 0.004)

    assert wander(times, walked + rng.normal(0.0, u), u) == pytest.approx(rate, rel=0.25)


def test_a_zero_that_does_not_walk_is_said_not_to():
    rng = np.random.default_rng(1)
    times = np.arange(60.0) * 15.0

    assert wander(times, rng.normal(0.0, 0.01, 60), np.full(60, 0.01)) < 0.002


def test_a_gripper_hung_again_is_no_walk():
    times = np.arange(40.0) * 15.0
    levels = np.where(times > 300.0, 2.5, 0.0)

    assert wander(times, levels, np.full(40, 0.01)) == 0.0


def test_five_gaps_say_nothing_about_a_walk():
    assert wander(np.arange(5.0), np.arange(5.0), np.zeros(5)) == 0.0


def test_a_crest_that_springs_back_is_read_whole_and_a_spike_on_it_is_not():
    before = 252.5 - 2.2 * np.arange(80.0, 0.0, -1.0)
    after = 244.2 - 0.5 * np.log1p(np.arange(100.0))
    y = np.concatenate([before, [252.7, 251.3, 247.9, 245.7, 244.7], after])
    y += np.random.default_rng(1).normal(0, 0.08, len(y))
    clean, _ = without_spikes(y, 0.08)
    assert clean.max() < 251.8
    assert with_crest(y, clean, 0.08, first=0, last=150).max() == pytest.approx(252.7, abs=0.2)
    y[82] += 40.0
    clean, _ = without_spikes(y, 0.08)
    assert with_crest(y, clean, 0.08, first=0, last=150).max() < 253.0
