"""The empty reading: neither slack nor the mounting before is taken for it."""

import numpy as np
import pytest

from tensionlog.pulls.empty import empty_reading

RATE_HZ, NOISE_N = 80.0, 0.05


def read(*parts: tuple[float, float]) -> float:
    """Empty reading before a pull that begins after (seconds, newtons) parts."""
    rng = np.random.default_rng(3)
    levels = np.concatenate([np.full(round(s * RATE_HZ), n) for s, n in parts])
    force = np.concatenate([levels, np.linspace(5, 200, 80)])
    force += rng.normal(0, NOISE_N, len(force))
    t = np.arange(len(force)) / RATE_HZ
    return empty_reading(t, force, len(levels), NOISE_N)[0]


def test_slack_taken_up_by_hand_is_not_empty():
    assert read((4.5, 2.0), (1.2, 6.0)) == pytest.approx(2.0, abs=0.03)


def test_a_new_mounting_shortly_before_is_the_empty_one():
    assert read((3.0, 0.5), (3.0, 4.8)) == pytest.approx(4.8, abs=0.03)
    assert read((3.0, 4.8), (3.0, 0.5)) == pytest.approx(0.5, abs=0.03)


def test_a_knock_just_before_the_rise_hides_nothing():
    assert read((5.0, 1.0), (0.2, 9.0), (0.5, 1.0)) == pytest.approx(1.0, abs=0.03)


def test_the_gentle_begin_of_a_slow_pull_hides_no_new_mounting():
    rising = ((0.3, 0.9), (0.3, 1.6))
    assert read((3.0, 0.5), (3.0, 4.8), *((s, 4.8 + n) for s, n in rising)) == pytest.approx(
        4.8, abs=0.03
    )
