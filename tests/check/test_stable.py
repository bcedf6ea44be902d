"""A stable reading recognised as it comes in."""

import numpy as np
import pytest

from tensionlog.check.stable import ODD_LASTS_S, StableReading
from tensionlog.check.verdict import Tolerance


def samples(force, seed=1, rate_hz=80.0, noise_n=0.03):
    """A force law over 15 s as samples."""
    t = np.arange(0, 15, 1 / rate_hz)
    noise = np.random.default_rng(seed).normal(0, noise_n, len(t))
    return list(zip(t.tolist(), (force(t) + noise).tolist(), strict=True))


def hung(t, *, at_s=1.0, free_s=3.0, load_n=98.0, swing_n=2.0):
    hand = load_n * np.clip((t - at_s) / (free_s - at_s), 0, 1)
    swing = swing_n * np.exp(-(t - free_s) / 2) * np.sin(5 * t)
    return np.where(t < free_s, hand, load_n + swing)


def captured(reading, pushed):
    return [(t, c) for t, x in pushed if (c := reading.push(t, x)) is not None]


def test_a_zero_is_captured_within_seconds_and_once():
    reading = StableReading(load_n=0.0)

    found = captured(reading, samples(lambda t: 0 * t + 1.3))

    assert len(found) == 1
    assert found[0][0] < 4.0
    assert found[0][1].level.level == pytest.approx(1.3, abs=0.02)
    assert found[0][1].waited_s == pytest.approx(found[0][0])
    assert reading.state == "captured"


def test_a_mass_is_captured_after_the_hand_and_not_before():
    reading = StableReading(load_n=98.0, before_n=1.3, zero_n=1.3)

    found = captured(reading, samples(lambda t: 1.3 + hung(t)))

    ((at_s, capture),) = found
    assert capture.level.start_s >= 2.9
    assert 5.0 <= at_s < 10.0
    assert capture.level.level == pytest.approx(99.3, abs=0.06)


def test_the_load_before_is_not_taken_for_the_new_one():
    reading = StableReading(load_n=98.0, before_n=1.3, zero_n=1.3)

    assert not captured(reading, samples(lambda t: 0 * t + 1.3))
    assert reading.state == "waiting"


def test_it_says_that_it_is_settling_once_the_load_has_changed():
    reading = StableReading(load_n=98.0, before_n=1.3, zero_n=1.3)

    captured(reading, [s for s in samples(lambda t: 1.3 + hung(t)) if s[0] < 5.0])

    assert reading.state == "settling"


def test_taking_the_mass_off_is_a_change_too():
    reading = StableReading(load_n=0.0, before_n=99.3, zero_n=1.3)

    found = captured(reading, samples(lambda t: 99.3 - hung(t, swing_n=0.1)))

    assert found[0][1].level.level == pytest.approx(1.3, abs=0.05)


def test_a_hand_that_carries_a_part_very_still_is_not_believed():
    """Nine tenths of the mass for four quiet seconds, then the rest."""

    def law(t):
        return np.where(t < 5.5, 0.9 * hung(t, free_s=1.5, swing_n=0), hung(t, free_s=5.6))

    found = captured(StableReading(load_n=98.0, before_n=0.0), samples(law))

    assert found[0][1].level.level == pytest.approx(98.0, abs=0.1)


def test_a_cell_that_is_far_off_is_captured_all_the_same_but_later():
    reading = StableReading(load_n=98.0, before_n=0.0)

    ((at_s, capture),) = captured(reading, samples(lambda t: hung(t, load_n=90.0)))

    assert capture.level.level == pytest.approx(90.0, abs=0.1)
    assert at_s > 3.0 + ODD_LASTS_S


def test_a_mass_in_a_gale_is_not_captured():
    rng = np.random.default_rng(2)
    knots = rng.normal(0, 3, 100)

    def gale(t):
        return hung(t) + np.interp(t, np.arange(100) * 0.15, knots)

    assert not captured(StableReading(load_n=98.0, before_n=0.0), samples(gale))


def test_a_wider_tolerance_is_met_sooner():
    def at(tolerance):
        reading = StableReading(load_n=98.0, before_n=0.0, tolerance=tolerance)
        pushed = samples(lambda t: hung(t, swing_n=5.0), noise_n=0.3, rate_hz=10.0)
        return captured(reading, pushed)[0][0]

    assert at(Tolerance(pct_of_load=3.0)) < at(Tolerance(pct_of_load=0.5))
