"""The mains in the spectrum, folded down by the sample rate."""

import numpy as np
import pytest

from tensionlog.device.hum import folded_hz, hidden_mains_hz, hum_of


def readings(*, at_hz=None, amplitude=0.0, rate_hz=80.0, seconds=30.0, seed=1, holes=0.0):
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    y = 84_000 + 450.0 * rng.standard_normal(len(t_s))
    if at_hz is not None:
        y += amplitude * np.sin(2 * np.pi * at_hz * t_s + 0.7)
    kept = rng.random(len(t_s)) >= holes
    return t_s[kept], y[kept]


@pytest.mark.parametrize("mains_hz", [49.93, 50.0, 50.08, 59.95, 60.0])
def test_the_mains_are_named_where_they_are_folded_to(mains_hz):
    t_s, y = readings(at_hz=mains_hz, amplitude=400.0)
    hum = hum_of(t_s, y, rate_hz=80.0)
    assert hum.mains_hz == round(mains_hz / 10) * 10
    assert hum.amplitude == pytest.approx(400.0, rel=0.2)
    assert hum.share == pytest.approx(0.28, abs=0.07)


def test_what_stands_in_one_place_is_named_together():
    hum = hum_of(*readings(at_hz=60.0, amplitude=400.0), rate_hz=80.0)
    assert (hum.at_hz, hum.looks_like_hz, hum.could_be_hz) == (60.0, 20.0, (100.0, 180.0))


def test_a_rate_of_the_converters_own_is_folded_by_what_it_is():
    rate_hz = 92.8
    hum = hum_of(*readings(at_hz=50.0, amplitude=400.0, rate_hz=rate_hz), rate_hz=rate_hz)
    assert hum.mains_hz == 50.0
    assert hum.looks_like_hz == pytest.approx(42.8)


def test_holes_and_spikes_do_not_hide_it():
    t_s, y = readings(at_hz=50.0, amplitude=400.0, holes=0.1)
    y[::83] += 300_000
    assert hum_of(t_s, y, rate_hz=80.0).mains_hz == 50.0


def test_noise_alone_is_no_hum():
    told = [hum_of(*readings(seed=seed), rate_hz=80.0) for seed in range(12)]
    assert sum(hum is not None for hum in told) <= 1


def test_a_vibration_elsewhere_is_no_hum():
    assert hum_of(*readings(at_hz=12.3, amplitude=300.0), rate_hz=80.0) is None


def test_a_rate_that_hides_the_mains_says_so():
    assert hidden_mains_hz(50.2) == (50.0,)
    assert hidden_mains_hz(80.0) == ()
    assert folded_hz(100.0, rate_hz=80.0) == 20.0


def test_too_few_readings_tell_nothing():
    assert hum_of(*readings(seconds=0.5), rate_hz=80.0) is None
