"""What is found in what was heard, fault by fault, and nothing where nothing is wrong."""

from dataclasses import replace

import numpy as np
import pytest

from tensionlog.device.budget import Parts, budget_of
from tensionlog.device.clock import clock_of
from tensionlog.device.diagnosis import diagnose
from tensionlog.device.heard import Heard
from tensionlog.device.words import (
    FINDING_WORDS,
    clock_words,
    finding_words,
    noise_words,
)
from tensionlog.model.lines import Hello

HELLO = Hello(1, "cell-7f3a", "0.3.1", 80.0, 24, "19c4")
PARTS = Parts(
    sensitivity_mv_per_v=2.0, rated_n=500.0, excitation_v=4.3, converter_nv=900.0, range_mv=16.8
)


def heard(*, seconds=20.0, rate_hz=80.0, level=84_211.0, sd=450.0, seed=2, **more):
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    counts = np.round(level + sd * rng.standard_normal(len(t_s)))
    what = {"hellos": (HELLO,), "samples": len(t_s), "lasted_s": seconds}
    return Heard(t_s=t_s, counts=counts, arrived_s=t_s + 0.01, **{**what, **more})


def codes(what, **how):
    return [f.code for f in diagnose(what, **how).findings if f.level != "fine"]


def worst(what, **how):
    return diagnose(what, **how).findings[0]


def test_a_bench_in_order_has_nothing_to_look_at():
    found = diagnose(heard(), counts_per_n=9120.0, budget=budget_of(PARTS))
    assert {f.level for f in found.findings} == {"fine"}
    assert {f.code for f in found.findings} == {"in-range", "rate", "noise"}


def test_saturated_readings_are_a_wire_that_is_off():
    what = heard()
    none = replace(what, t_s=what.t_s[:0], counts=what.counts[:0], arrived_s=what.t_s[:0])
    assert (worst(none).code, worst(none).level) == ("saturated", "bad")


@pytest.mark.parametrize(
    ("code", "name"), [(-1.0, "data-line-high"), (0.0, "data-line-low"), (84_211.0, "repeats")]
)
def test_a_converter_that_repeats_its_last_value_is_named_by_what_it_repeats(code, name):
    assert worst(heard(level=code, sd=0.0)).code == name


@pytest.mark.parametrize(
    ("level", "name"), [(6e6, "near-end"), (-6e6, "near-end"), (2e6, "far-from-zero")]
)
def test_an_empty_cell_far_from_zero_is_told(level, name):
    assert worst(heard(level=level)).code == name


def pulled(by):
    what = heard(seconds=20.0)
    counts = what.counts.copy()
    counts[80 * 15 : 80 * 18] += by
    return replace(what, counts=counts)


@pytest.mark.parametrize(
    ("by", "counts_per_n", "code"),
    [
        (400_000.0, 9120.0, "answers"),
        (-400_000.0, -9120.0, "answers"),
        (-400_000.0, 9120.0, "swapped"),
        (-400_000.0, None, "swapped"),
        (0.0, 9120.0, "dead-bridge"),
    ],
)
def test_a_pull_by_hand_tells_alive_dead_and_swapped(by, counts_per_n, code):
    found = diagnose(pulled(by), pulled_from_s=14.0, counts_per_n=counts_per_n)
    assert code in [f.code for f in found.findings]
    assert found.noise.sd == pytest.approx(450.0, rel=0.1)  # of the empty part alone


def test_the_mains_are_told():
    what = heard()
    wave = 500.0 * np.sin(2 * np.pi * 50.0 * what.t_s)
    found = diagnose(replace(what, counts=what.counts + wave))
    assert found.hum.mains_hz == 50.0
    assert "50 Hz" in finding_words(found.findings[0])


def test_a_rate_that_hides_the_mains_is_told():
    assert "hum-hidden" in codes(heard(rate_hz=50.0, hellos=(HELLO._replace(rate_hz=50.0),)))


def test_motor_spikes_are_counted_and_bits_that_stick_told_from_them():
    what = heard()
    motor, bits = what.counts.copy(), what.counts.copy()
    motor[100::200] += 60_000
    bits[100::200] = 2**20 - 1
    assert codes(replace(what, counts=motor)) == ["spikes"]
    assert codes(replace(what, counts=bits)) == ["stuck-bits"]
    assert diagnose(replace(what, counts=motor)).spikes.n == 8


@pytest.mark.parametrize(
    ("rate_hz", "code"), [(320.0, "too-fast"), (10.0, "other-rate"), (92.8, None)]
)
def test_a_rate_unlike_what_the_device_says_is_told(rate_hz, code):
    assert codes(heard(rate_hz=rate_hz))[:1] == ([code] if code else [])


def test_noise_is_held_against_the_budget():
    budget = budget_of(PARTS)
    assert budget.total_counts == pytest.approx(450.0, rel=0.01)
    assert codes(heard(sd=900.0), budget=budget) == ["noisy"]
    assert codes(heard(sd=150.0), budget=budget) == ["too-quiet"]


def test_a_fast_drift_is_told_in_newtons():
    what = heard(seconds=60.0)
    drift = 9120.0 * 60.0 / 3600.0 * what.t_s  # 60 N/h
    assert "drifts" in codes(replace(what, counts=what.counts + drift), counts_per_n=9120.0)


def test_losses_restarts_and_faults_of_the_device_are_told():
    what = heard(missing=40, bad_lines=2, restarts=1, faults={"brown-out": 1, "saturated": 3})
    assert set(codes(what)) == {"loses", "restarts", "fault"}


def test_silence_is_no_reading():
    nothing = Heard(t_s=np.empty(0), counts=np.empty(0), arrived_s=np.empty(0))
    assert worst(nothing).code == "no-samples"
    assert clock_of(nothing) is None


def test_every_finding_has_its_words():
    figures = dict.fromkeys(
        "pct code sds moved says_hz device_hz amplitude looks_like_hz at_hz rate_hz n largest "
        "per_min sd ratio budget n_per_h u missing bad name".split(),
        1.0,
    )
    for text in FINDING_WORDS.values():
        assert text.format(**figures)


def test_a_clock_that_runs_fast_makes_the_true_rate_higher():
    clock = clock_of(heard(ppm=1000.0, u_ppm=5.0, lasted_s=600.0))
    assert clock.true_hz == pytest.approx(80.08)
    assert clock.u_ppm == pytest.approx(5.6, abs=0.1)
    assert "off by +1000 ppm (u 6)" in clock_words(clock)
    assert "own clock" in clock_words(clock_of(heard()))


def test_noise_is_said_in_newtons_where_they_are_known():
    noise = diagnose(heard()).noise
    assert "counts" in noise_words(noise, counts_per_n=None)
    assert "noise 0.05" in noise_words(noise, counts_per_n=-9120.0)
