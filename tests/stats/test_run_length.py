"""Run lengths against the published tables.

Source: `published/run_lengths.csv`. The figures were computed with the R package spc and
agree with the tables of Montgomery (CUSUM) and of Lucas & Saccucci (EWMA) to the digits
printed there; the last rows are limits designed for a run length, the other way round.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.stats.run_length import (
    cusum_run_length,
    ewma_run_length,
    siegmund_run_length,
)

with Path(__file__).with_name("published").joinpath("run_lengths.csv").open() as file:
    TABLE = list(csv.DictReader(file))


def ours(row):
    design, limit, shift = (float(row[c]) for c in ("design", "limit", "shift_sigma"))
    if row["chart"] == "cusum":
        return cusum_run_length(k=design, h=limit, shift=shift)
    return ewma_run_length(weight=design, width=limit, shift=shift)


@pytest.mark.parametrize("chart", ["cusum", "ewma"])
def test_published_run_lengths(chart):
    rows = [row for row in TABLE if row["chart"] == chart]
    assert len(rows) > 25

    for row in rows:
        assert ours(row) == pytest.approx(float(row["run_length"]), rel=5e-6), row


@settings(max_examples=25)
@given(st.floats(0.2, 1.0), st.floats(2.0, 6.0), st.floats(0.0, 3.0))
def test_a_shift_either_way_is_called_equally_soon(k, h, shift):
    up, down = (cusum_run_length(k=k, h=h, shift=side * shift) for side in (1, -1))

    assert up == pytest.approx(down, rel=1e-9)


@settings(max_examples=25)
@given(st.floats(0.0, 2.5), st.floats(0.1, 0.5))
def test_a_larger_shift_is_called_sooner(shift, more):
    assert cusum_run_length(k=0.5, h=4, shift=shift + more) < cusum_run_length(
        k=0.5, h=4, shift=shift
    )
    assert ewma_run_length(weight=0.2, width=2.9, shift=shift + more) < ewma_run_length(
        weight=0.2, width=2.9, shift=shift
    )


def test_a_chart_of_one_state_is_a_plain_limit():
    """With weight 1 an EWMA is a Shewhart chart: 1 / 0.0027 readings at 3 sigma."""
    assert ewma_run_length(weight=1.0, width=3.0) == pytest.approx(370.398, abs=1e-3)


@pytest.mark.parametrize(("h", "printed"), [(4.0, 169.05), (5.0, 469.11)])
def test_siegmund_in_control(h, printed):
    assert siegmund_run_length(k=0.5, h=h) == pytest.approx(printed, abs=0.005)


def test_siegmund_is_near_the_exact_run_length_and_whole_where_the_drift_vanishes():
    exact = cusum_run_length(k=0.5, h=5, shift=0.5, two_sided=False)

    assert siegmund_run_length(k=0.5, h=5, shift=0.5) == pytest.approx(exact, rel=0.02)


def test_a_simulated_cusum_runs_as_long_as_the_integral_says():
    rng = np.random.default_rng(7)
    high = np.zeros(4000)
    runs, alive = np.zeros(4000), np.ones(4000, dtype=bool)
    while alive.any():
        high = np.maximum(0, high + rng.normal(1.0, 1.0, 4000) - 0.5)
        runs += alive
        alive &= high <= 4

    assert runs.mean() == pytest.approx(
        cusum_run_length(k=0.5, h=4, shift=1.0, two_sided=False), rel=0.03
    )
