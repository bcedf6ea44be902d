"""The cell and its converter: slow, noisy, wandering, quantised, and saturating."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin.cell import Cell, convert, draw_cell
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S

STILL = Cell(noise_n=0.0, wander_n_per_rs=0.0, creep=0.0, counts_per_n=1e4, zero_counts=0)


def read(cell: Cell, force: np.ndarray, rate_hz: float = 80.0, seed: int = 1):
    return convert(stream(seed, "cell"), cell=cell, force_n=force, rate_hz=rate_hz)


def forces(converted, cell: Cell) -> np.ndarray:
    return (converted.counts - cell.zero_counts) / cell.counts_per_n


def rest(seconds: float) -> np.ndarray:
    return np.zeros(round(seconds / DT_S))


@pytest.mark.parametrize(("rate_hz", "settles_s"), [(80.0, 0.05), (10.0, 0.4)])
@pytest.mark.parametrize("boxes", [(1.0, 1.0, 1.0, 1.0), (4 / 3, 4 / 3, 4 / 3)])
def test_a_step_takes_four_conversions(rate_hz: float, settles_s: float, boxes: tuple):
    """About 50 ms at 80/s and 400 ms at 10/s for common parts."""
    force = np.where(np.arange(4000) * DT_S >= 1.0, 100.0, 0.0)

    converted = read(replace(STILL, boxes=boxes), force, rate_hz)
    seen = forces(converted, STILL)

    late = converted.t_s >= 1.0 + settles_s + 2e-3
    assert seen[late] == pytest.approx(100.0, abs=1e-3)
    assert seen[converted.t_s < 1.0] == pytest.approx(0.0, abs=1e-3)
    assert np.sum((seen > 0.5) & (seen < 99.5)) >= 2


@pytest.mark.parametrize("rate_hz", [10.0, 80.0, 320.0, 1280.0])
def test_a_settled_force_reads_the_same_at_every_rate(rate_hz: float):
    converted = read(STILL, np.full(3000, 123.4), rate_hz)

    assert forces(converted, STILL) == pytest.approx(123.4, abs=1e-3)
    assert len(converted.counts) == int(3.0 * rate_hz)
    assert np.diff(converted.t_s) == pytest.approx(1.0 / rate_hz)


@given(
    seed=st.integers(0, 999), noise=st.floats(0.02, 0.2), redness=st.sampled_from([0.0, 0.4])
)
@settings(max_examples=20, deadline=None)
def test_noise_is_as_large_as_said_and_red_only_where_said(
    seed: int, noise: float, redness: float
):
    cell = replace(STILL, noise_n=noise, redness=redness)

    seen = forces(read(cell, rest(60.0), seed=seed), cell)

    assert seen.std() == pytest.approx(noise, rel=0.08)
    assert np.corrcoef(seen[1:], seen[:-1])[0, 1] == pytest.approx(redness, abs=0.08)


def test_zero_wanders_with_the_root_of_time():
    """Zero wanders 0.002–0.01 N/√s on benches."""
    cell = replace(STILL, wander_n_per_rs=0.01)

    ends = [read(cell, rest(25.0), 20.0, seed=s).zero_n[-1] for s in range(300)]

    assert np.std(ends) == pytest.approx(0.01 * 5.0, rel=0.15)


def test_zero_drifts_by_the_hour():
    cell = replace(STILL, drift_n_per_h=3.6, mounting_n=2.0)

    zero = read(cell, rest(100.0)).zero_n

    assert zero[0] == 2.0
    assert zero[-1] == pytest.approx(2.1, abs=0.002)


def test_creep_comes_late_and_goes_late():
    cell = replace(STILL, creep=0.001, creep_s=10.0)
    force = np.concatenate([np.full(40_000, 200.0), np.zeros(40_000)])

    zero = read(cell, force).zero_n

    assert zero[0] < 0.01
    assert zero.max() == pytest.approx(0.2, rel=0.05)
    assert 0.0 < zero[-1] < 0.01


@given(span=st.floats(-0.02, 0.02), bow=st.floats(-0.01, 0.01), force=st.floats(0.0, 500.0))
@settings(max_examples=40, deadline=None)
def test_span_and_bow_are_errors_of_the_reading(span: float, bow: float, force: float):
    cell = replace(STILL, span_error=span, bow=bow, rated_n=500.0)

    assert float(cell.reads_n(0.0)) == 0.0
    assert float(cell.reads_n(500.0)) == pytest.approx(500.0 * (1 + span + bow))
    assert float(cell.reads_n(force)) == pytest.approx(force * (1 + span + bow * force / 500))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_too_much_force_ends_at_full_scale(sign: float):
    cell = replace(STILL, counts_per_n=sign * 1e5)

    counts = read(cell, np.full(1000, 200.0)).counts

    assert set(counts.tolist()) == {8_388_607 if sign > 0 else -8_388_608}


def test_counts_are_whole_and_repeat_with_their_seed():
    cell = draw_cell(stream(3, "cell"))
    force = np.linspace(0.0, 200.0, 5000)

    assert read(cell, force, seed=5).counts.dtype == np.int64
    assert np.array_equal(read(cell, force, seed=5).counts, read(cell, force, seed=5).counts)
    assert not np.array_equal(
        read(cell, force, seed=5).counts, read(cell, force, seed=6).counts
    )


@given(seed=st.integers(0, 5000))
@settings(max_examples=40, deadline=None)
def test_a_drawn_cell_is_sound(seed: int):
    cell = draw_cell(stream(seed, "cell"))

    assert 3.5 <= sum(cell.boxes) <= 4.5
    assert abs(cell.span_error) < 0.005
    assert 1.0 <= cell.mounting_n <= 5.0
