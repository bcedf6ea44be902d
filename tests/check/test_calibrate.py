"""A full calibration."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.check.calibrate import (
    Reading,
    calibrate,
    calibration_from_record,
    readings_of,
)
from tensionlog.check.result import CheckResult
from tensionlog.errors import CalibrationError

pytestmark = pytest.mark.long

ZERO, SCALE = 84211.0, 9120.0
LOADS = (40.0, 80.0, 120.0, 160.0, 200.0)


def runs(rng, *, bow=0.0, noise=20.0, loads=LOADS, times=3, scale=SCALE):
    return [
        Reading(run, f, ZERO + scale * f * (1 + bow * f / 200) + rng.normal(0, noise))
        for run in range(1, times + 1)
        for f in loads
    ]


@given(st.integers(0, 2**31), st.floats(-3e-3, 3e-3))
@settings(max_examples=25)
def test_a_force_read_back_is_the_force_that_was_hung(seed, bow):
    result = calibrate(runs(np.random.default_rng(seed), bow=bow), zero_counts=ZERO)

    at = 150.0
    force, u = result.read_back(ZERO + SCALE * at * (1 + bow * at / 200))

    assert force == pytest.approx(at, abs=max(6 * u, 0.02))
    # the noun is the same curve, by another road
    noun = result.calibration.force_n(ZERO + SCALE * at * (1 + bow * at / 200))
    assert float(noun) == pytest.approx(force, abs=2e-4)


def test_a_straight_cell_keeps_its_line_and_a_bowed_one_earns_a_quadratic():
    straight = [
        calibrate(runs(np.random.default_rng(s)), zero_counts=ZERO).fit.degree
        for s in range(60)
    ]
    bowed = calibrate(runs(np.random.default_rng(1), bow=2e-3), zero_counts=ZERO)

    assert np.mean(np.array(straight) == 2) < 0.08
    assert bowed.fit.degree == 2
    assert bowed.f.p < 1e-6


def test_stated_uncertainties_cover_the_forces_read_back():
    rng = np.random.default_rng(3)
    scores = []
    for _ in range(200):
        result = calibrate(runs(rng, times=4), zero_counts=ZERO)
        reading = ZERO + SCALE * 130 + rng.normal(0, 20)
        force, u = result.read_back(reading)
        scores.append((force - 130) / u)

    assert np.mean(np.abs(scores) < 2) == pytest.approx(0.94, abs=0.04)


def test_doubt_grows_beyond_the_heaviest_load():
    result = calibrate(runs(np.random.default_rng(4)), zero_counts=ZERO)

    assert result.u_force_n(400.0) > 5 * result.u_force_n(200.0)


def test_doubt_shared_by_all_masses_is_in_every_force():
    readings = runs(np.random.default_rng(5))
    exact = calibrate(readings, zero_counts=ZERO)
    doubted = calibrate(readings, zero_counts=ZERO, u_reference_pct=0.1)

    extra = doubted.u_force_n(150.0) ** 2 - exact.u_force_n(150.0) ** 2
    assert np.sqrt(extra) == pytest.approx(0.15, rel=1e-6)


def test_a_record_reads_forces_back_as_the_calibration_did():
    result = calibrate(
        runs(np.random.default_rng(6), bow=2e-3),
        zero_counts=ZERO,
        name="winter",
        date="2026-01-09",
    )

    kept = calibration_from_record(result.record())

    assert kept.calibration == result.calibration
    assert kept.calibration.name == "winter"
    assert kept.read_back(1e6) == result.read_back(1e6)
    assert kept.record() == result.record()


def test_words_of_the_standards_are_measured():
    readings = runs(np.random.default_rng(7), noise=0.0)
    readings.append(Reading(1, 120.0, ZERO + SCALE * 120.12, "down"))

    result = calibrate(readings, zero_counts=ZERO)

    assert result.repeatability_pct == pytest.approx(0.0, abs=1e-9)
    assert result.reversibility_pct == pytest.approx(0.1, rel=1e-3)
    # the one falling reading lies 0.12 N above four rising ones: a quarter of it
    assert result.interpolation_pct == pytest.approx(0.12 / 4 / 120 * 100, rel=0.4)
    assert result.lower_limit_factor_n == pytest.approx(2.4 * result.fit.residual_sd / SCALE)


@pytest.mark.parametrize(
    ("loads", "times", "said"),
    [((50.0, 100.0), 3, "not 2 in 3"), (LOADS, 2, "not 5 in 2")],
)
def test_too_few_loads_or_runs_are_refused_with_their_number(loads, times, said):
    readings = runs(np.random.default_rng(8), loads=loads, times=times)

    with pytest.raises(CalibrationError, match=said):
        calibrate(readings, zero_counts=ZERO)


def test_swapped_wires_are_refused_unless_meant():
    readings = runs(np.random.default_rng(9), scale=-SCALE)

    with pytest.raises(CalibrationError, match="swapped"):
        calibrate(readings, zero_counts=ZERO)
    meant = calibrate(readings, zero_counts=ZERO, allow_inverted=True)
    assert meant.read_back(ZERO - SCALE * 100)[0] == pytest.approx(100, abs=0.05)


def test_counts_that_do_not_follow_the_load_are_refused():
    readings = runs(np.random.default_rng(10), scale=0.01, noise=1000.0)

    with pytest.raises(CalibrationError, match="do not follow"):
        calibrate(readings, zero_counts=ZERO)


def test_a_recorded_calibration_gives_the_scale_of_its_cell(check):
    up = (1.0, 2.0, 5.0, 10.0, 15.0)
    bench = replace(check.daily, sequence_kg=(0, *up, 0, *up, 0, *up, 0), set_kg=up)
    recording = check.made(np.random.default_rng(11), replace(bench, hold_s=(8.0, 10.0)))
    read = recording.analysed(calibration=None)
    readings = readings_of(read)

    result = calibrate(readings, zero_counts=read.zero)

    assert [r.run for r in readings] == [1] * 5 + [2] * 5 + [3] * 5
    true = check.counts_per_n * (1 + bench.span_pct / 100)
    assert result.fit.slope_at(75.0) == pytest.approx(true, rel=8e-4)


def test_a_check_in_newtons_is_no_calibration():
    with pytest.raises(CalibrationError, match="newtons"):
        readings_of(CheckResult(unit="N"))
