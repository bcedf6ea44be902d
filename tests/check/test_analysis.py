"""The morning check from samples to verdict, on benches made of numbers."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from tensionlog.check.reference import settings_from_note
from tensionlog.check.result import Load
from tensionlog.check.verdict import Tolerance
from tensionlog.model.recording import Calibration


def rms(x):
    return float(np.sqrt(np.mean(np.square(x))))


def scored(check, seed, n):
    """Span errors, their stated uncertainties and zeros of `n` benches drawn at large."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        bench = check.any_bench(rng)
        result = check.made(rng, bench).analysed()
        assert result.problem is None
        rows.append(
            (
                result.span_error_pct - bench.span_pct,
                result.u_span_error_pct,
                result.zero - bench.zero_n,
            )
        )
    return np.array(rows).T


def test_span_and_zero_are_found_and_their_doubt_is_honest(check):
    error, u, zero = scored(check, 101, 20)

    assert rms(error) < 0.025
    assert np.abs(error).max() < 0.08
    assert np.abs(zero).max() < 0.1
    assert binomtest(int(np.sum(np.abs(error) < 2 * u)), len(error), 0.95).pvalue > 0.01
    assert np.median(u) < 1.4 * rms(error)


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_two_hundred_and_forty_checks_meet_the_promise(check):
    error, u, zero = scored(check, 202, 240)

    assert rms(error) < 0.02
    assert np.abs(error).max() < 0.08
    assert np.abs(zero).max() < 0.1
    assert binomtest(int(np.sum(np.abs(error) < 2 * u)), len(error), 0.95).pvalue > 0.01
    assert np.median(u) < 1.3 * rms(error)


@pytest.fixture(scope="module")
def weekly(check):
    rng = np.random.default_rng(7)
    bench = replace(check.weekly, walk_n_per_root_s=0.002, mass_class="M1")
    return check.made(rng, bench)


def test_the_answer_has_the_pinned_form(weekly):
    answer = weekly.analysed().answer()

    pinned = ("zero_N", "span_error_pct", "u_span_error_pct", "points", "repeatability_pct")
    pinned += ("reversibility_pct", "nonlinearity_pct", "zero_return_N", "verdict")
    assert list(answer)[: len(pinned)] == list(pinned)
    for point in answer["points"]:
        assert list(point)[:4] == ["reference_N", "reading_N", "error_N", "u_N"]
        assert point["error_N"] == pytest.approx(
            point["reading_N"] - answer["zero_N"] - point["reference_N"], abs=1e-9
        )
    assert answer["verdict"] in ("good", "adjust", "stop")
    assert [p["load"] for p in answer["points"]] == ["5 kg", "10 kg", "15 kg", "10 kg", "5 kg"]
    assert [p["direction"] for p in answer["points"]] == ["up", "up", "up", "down", "down"]


def test_errors_at_the_loads_are_the_cells(weekly):
    result = weekly.analysed()

    for point, true in zip(result.points, weekly.error_n, strict=True):
        assert point.error == pytest.approx(true, abs=4 * point.u)


def test_up_and_down_gives_reversibility_but_no_repeatability(weekly):
    result = weekly.analysed()

    assert result.reversibility_pct is not None
    assert result.repeatability_pct is None
    assert result.nonlinearity_pct is not None


def test_one_mass_gives_no_line_to_be_off(check):
    result = check.made(np.random.default_rng(1), check.daily).analysed()

    assert result.nonlinearity_pct is None
    assert result.zero_return == pytest.approx(0.0, abs=0.1)
    assert result.heaviest_n == pytest.approx(98.1, abs=0.1)


def test_a_load_hung_again_gives_repeatability(check):
    bench = replace(check.daily, sequence_kg=(0, 10, 0, 10, 0))

    result = check.made(np.random.default_rng(2), bench).analysed()

    assert 0 <= result.repeatability_pct < 0.2
    assert result.reversibility_pct is None


def test_a_cell_that_bows_and_lags_shows_it(check):
    bench = replace(
        check.weekly, bow_pct=0.3, hysteresis_pct=0.2, walk_n_per_root_s=0.002, noise_n=0.02
    )

    result = check.made(np.random.default_rng(3), bench).analysed()

    # 0.3 % bow tops 0.27 % at a third and two thirds; the least-squares line halves it
    assert 0.1 < result.nonlinearity_pct < 0.4
    assert 0.15 < result.reversibility_pct < 0.8
    assert result.budget_pct["bow"] > 0.01


@pytest.mark.parametrize(
    ("span_pct", "verdict"), [(0.0, "good"), (1.0, "adjust"), (3.0, "stop"), (-3.0, "stop")]
)
def test_the_verdict_follows_the_error(check, span_pct, verdict):
    bench = replace(check.daily, span_pct=span_pct)

    assert check.made(np.random.default_rng(4), bench).analysed().verdict == verdict


def test_a_benchs_own_tolerance_counts(check):
    recording = check.made(np.random.default_rng(5), replace(check.daily, span_pct=0.2))

    assert recording.analysed().verdict == "good"
    tight = Tolerance(pct_of_load=0.1, floor_n=0.05)
    assert recording.analysed(tolerance=tight).verdict == "adjust"


def test_zero_is_reported_and_judges_nothing(check):
    recording = check.made(np.random.default_rng(6), replace(check.daily, zero_n=40.0))

    result = recording.analysed()

    assert result.zero == pytest.approx(40.0, abs=0.1)
    assert result.verdict == "good"


def test_exact_masses_are_said_to_be(check, weekly):
    exact = check.made(np.random.default_rng(8), check.daily).analysed()

    assert exact.masses_exact and any("exact" in w for w in exact.warnings)
    assert not weekly.analysed().masses_exact
    assert weekly.analysed().budget_pct["reference"] > 0


def test_without_a_calibration_the_answer_is_in_counts(check, weekly):
    answer = weekly.analysed(calibration=None).answer()

    assert answer["zero_N"] is None and answer["verdict"] is None
    assert answer["span_error_pct"] is None
    scale = check.counts_per_n * (1 + weekly.bench.span_pct / 100)
    assert answer["counts_per_N"] == pytest.approx(scale, rel=5e-4)
    assert answer["zero_counts"] == pytest.approx(
        84211 + weekly.bench.zero_n * check.counts_per_n, abs=0.1 * check.counts_per_n
    )
    point = answer["points"][0]
    assert point["reading_N"] is None and point["error_N"] is None
    assert point["reading_counts"] - answer["zero_counts"] == pytest.approx(
        point["reference_N"] * scale, rel=2e-3
    )
    assert "no calibration" in answer["problem"]


def test_the_check_itself_says_the_scale(check, weekly):
    with_it, without = weekly.analysed(), weekly.analysed(calibration=None)

    assert with_it.counts_per_n == pytest.approx(without.counts_per_n, rel=1e-3)


def test_loads_before_the_first_are_the_empty_cell(weekly):
    """A check whose first `load` is a mass: zero is what came before it."""
    late = weekly.analysed(loads=weekly.loads[1:])

    assert late.zero == pytest.approx(weekly.analysed().zero, abs=0.02)


def test_notes_out_of_order_are_put_in_order(weekly):
    mixed = weekly.analysed(loads=weekly.loads[::-1])

    assert mixed == weekly.analysed()


def test_a_force_named_by_a_scale_needs_no_mass(check):
    recording = check.made(np.random.default_rng(9), check.daily)
    loads = [
        Load(load.t_s, force_n=(load.mass_kg or 0) * 9.81 * 0.99985) for load in recording.loads
    ]

    result = recording.analysed(loads=loads, reference={"reference": "scale", "u_scale_N": 0.1})

    assert result.span_error_pct == pytest.approx(recording.bench.span_pct, abs=0.06)
    assert result.points[0].u > 0.1


def test_doubt_grows_beyond_the_heaviest_mass(weekly):
    result = weekly.analysed()
    top = result.heaviest_n

    inside, there, beyond = (result.u_force_n(f) / f for f in (0.8 * top, top, 2 * top))

    assert inside == pytest.approx(there, rel=0.3)
    assert beyond > 2 * there


def test_a_coarse_scale_adds_its_own_resolution(check):
    """Someone else's sketch in steps of 0.1 N, hardly any noise."""
    bench = replace(check.daily, noise_n=0.005, lost=0.0, spikes=0.0)
    recording = check.made(np.random.default_rng(10), bench)
    newtons = check.calibration.force_n(recording.counts)

    result = recording.analysed(
        counts=np.round(newtons, 1), calibration=Calibration((0.0, 1.0)), adc_bits=None
    )

    assert result.problem is None
    assert result.points[0].u > 0.1 / np.sqrt(12)
    assert result.span_error_pct == pytest.approx(bench.span_pct, abs=0.1)


def test_arrays_of_two_lengths_are_a_mistake_of_the_caller(weekly):
    with pytest.raises(ValueError, match="one shape"):
        weekly.analysed(t_s=weekly.t_s[:-1])


def test_settings_may_be_given_as_read(weekly):
    settings = settings_from_note(weekly.body)

    assert weekly.analysed(reference=settings) == weekly.analysed()
