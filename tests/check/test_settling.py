"""The level that a swinging mass comes to."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.check.settling import BLOCK_S, settled_level, to_blocks
from tensionlog.check.swing import Mode, best_new_mode, fit_swing

SEEDS = st.integers(0, 2**31)


def hung(rng, *, seconds=9.0, rate_hz=80.0, free_s=2.0, swing_n=2.0, hz=0.8, tau_s=2.5):
    """A mass of 100 N: in the hand until `free_s`, then swinging."""
    t = np.arange(0, seconds, 1 / rate_hz)
    hand = 100 * np.clip(t / free_s, 0, 1) ** 0.5 + 3 * np.sin(7 * t)
    v = t - free_s
    swinging = 100 + swing_n * np.exp(-v / tau_s) * np.sin(2 * np.pi * hz * v + 1)
    return t, np.where(v < 0, hand, swinging) + rng.normal(0, 0.05, len(t))


@given(st.floats(-1e4, 1e4), SEEDS)
@settings(max_examples=10, deadline=None)
def test_a_shifted_reading_has_a_shifted_level(shift, seed):
    t, x = hung(np.random.default_rng(seed))
    here = settled_level(t_s=t, reading=x, noise=0.05)
    there = settled_level(t_s=t, reading=x + shift, noise=0.05)

    assert there.level == pytest.approx(here.level + shift, abs=0.02)


@given(SEEDS)
@settings(max_examples=25, deadline=None)
def test_blocks_keep_the_mean_of_all_samples(seed):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 5, 200))
    x = rng.normal(size=200)

    blocks = to_blocks(t, x)

    assert blocks.mean @ blocks.n / 200 == pytest.approx(x.mean(), abs=1e-12)
    assert np.all(np.diff(blocks.t_s) > 0)


@pytest.mark.parametrize("hz", [0.5, 0.8, 1.5])
@pytest.mark.parametrize("rate_hz", [10, 80, 320])
def test_the_level_is_read_while_the_mass_still_swings(hz, rate_hz):
    rng = np.random.default_rng(12)
    misses = []
    for _ in range(8):
        t, x = hung(rng, hz=hz, rate_hz=rate_hz, swing_n=3.0)
        level = settled_level(t_s=t, reading=x, noise=0.05)
        misses.append((level.level - 100) / level.u)
        assert abs(level.level - 100) < 0.06

    assert np.sqrt(np.mean(np.square(misses))) < 2.0


def test_the_window_begins_where_the_hand_lets_go():
    t, x = hung(np.random.default_rng(3), free_s=3.0)

    level = settled_level(t_s=t, reading=x, noise=0.05)

    assert 2.9 <= level.start_s <= 4.0
    assert level.end_s > 8.8


def test_a_hand_that_is_back_early_is_left_out():
    t, x = hung(np.random.default_rng(4), seconds=10.0)
    x[t > 9.3] -= 20

    level = settled_level(t_s=t, reading=x, noise=0.05)

    assert level.end_s <= 9.4
    assert level.level == pytest.approx(100, abs=0.05)


def test_a_mass_that_a_hand_keeps_moving_is_known_badly():
    rng = np.random.default_rng(5)
    t = np.arange(0, 8, 1 / 80)
    wild = np.interp(t, np.arange(0, 9, 0.25), 100 + 5 * rng.normal(size=36))

    level = settled_level(t_s=t, reading=wild + rng.normal(0, 0.05, len(t)), noise=0.05)

    assert level is None or level.u > 0.5


def test_too_short_a_load_has_no_level():
    t, x = hung(np.random.default_rng(6), seconds=1.5, free_s=0.2)

    assert settled_level(t_s=t, reading=x, noise=0.05) is None


def test_pieces_add_up_to_the_level_and_noise_alone_sets_their_spread():
    rng = np.random.default_rng(7)
    t = np.arange(0, 8, 1 / 80)
    level = settled_level(t_s=t, reading=5 + rng.normal(0, 0.05, len(t)), noise=0.05)

    assert level.swing == 0.0
    assert np.mean(level.piece) == pytest.approx(level.level, abs=1e-3)
    assert np.sqrt(np.diag(level.piece_noise)) == pytest.approx(0.05 / np.sqrt(80), rel=0.1)
    assert level.u == pytest.approx(0.05 / np.sqrt(len(t)), rel=0.1)
    assert abs(level.late_minus_early) < 0.05


def test_a_hole_in_the_line_leaves_no_empty_piece():
    t, x = hung(np.random.default_rng(8), seconds=12.0)
    kept = (t < 5) | (t > 8)

    level = settled_level(t_s=t[kept], reading=x[kept], noise=0.05)

    assert np.isfinite(level.piece).all()
    assert level.level == pytest.approx(100, abs=0.05)


def test_a_fitted_swing_has_the_frequency_and_decay_it_was_made_with():
    t = np.arange(0, 8, BLOCK_S)
    y = 100 + 2 * np.exp(-0.4 * t) * np.cos(2 * np.pi * 0.93 * t)
    weight = np.ones_like(t)

    start = best_new_mode(t, y - y.mean(), weight)
    fit = fit_swing(t, y, weight, (start,))

    assert fit.modes[0].rate == pytest.approx(2 * np.pi * 0.93, rel=1e-3)
    assert fit.modes[0].decay == pytest.approx(0.4, rel=0.02)
    assert fit.amplitudes[0] == pytest.approx(2.0, rel=0.01)


def test_a_window_too_short_for_any_swing_offers_none():
    t = np.arange(0, 0.2, 0.05)

    assert best_new_mode(t, np.zeros_like(t), np.ones_like(t)) is None


def test_a_mode_is_held_to_what_a_mass_can_do():
    t = np.arange(0, 3, BLOCK_S)

    fit = fit_swing(t, np.exp(-20 * t), np.ones_like(t), (Mode(3.0, 2.9),))

    assert 0 <= fit.modes[0].decay <= 3.0


def test_a_pendulum_pulls_more_than_its_weight_while_it_swings():
    """Tension of a pendulum to second order: weight * (1 + angle^2 (1/4 - 3/4 cos))."""
    t = np.arange(0, 8, BLOCK_S)
    decay = np.exp(-t / 2.0)
    y = 100 + 2.0 * decay * (1 / 3 - np.cos(2 * np.pi * 1.1 * t))
    weight = np.ones_like(t)

    start = best_new_mode(t, y - y.mean(), weight)
    fit = fit_swing(t, y, weight, (start,))

    assert fit.lift_share == pytest.approx(1.0, abs=0.05)
    assert fit.lift == pytest.approx(2.0 / 3 * decay, abs=0.05)
    assert np.abs(fit.residual).max() < 0.05 * 2.0


def test_samples_that_came_too_seldom_have_no_level():
    """Twelve samples in a minute: no window of two seconds holds enough of them."""
    t = np.arange(12.0) * 5

    assert settled_level(t_s=t, reading=np.full(12, 100.0), noise=0.05) is None


def test_a_window_of_few_blocks_is_read_without_looking_for_a_draught():
    rng = np.random.default_rng(9)
    t = np.concatenate([np.arange(0, 2.0, 0.2), [2.05, 2.1, 2.15]])

    level = settled_level(t_s=t, reading=5 + rng.normal(0, 0.02, 13), noise=0.02)

    assert level.level == pytest.approx(5, abs=0.05)
