"""Generalised least squares on binned samples: the textbook's answer, and its honesty."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.least_squares import MOST_BINS, bins_of, fit, whitener

MASKS = st.lists(st.booleans(), min_size=1, max_size=400).map(
    lambda bits: np.array(bits, dtype=bool)
)
FREE = (np.zeros(2), np.full(2, np.inf))


def line(seed: int, n: int = 200, noise: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    t = np.linspace(0.0, 2.0, n)
    y = 3.0 - 1.5 * t + np.random.default_rng(seed).normal(0.0, noise, n)
    return np.column_stack([np.ones(n), t]), y


# -------------------------------------------------------------------------------- bins


@given(MASKS.filter(np.any))
@settings(max_examples=80)
def test_bins_hold_every_kept_sample_once_and_never_reach_across_a_hole(keep):
    bins = bins_of(keep)
    index = np.flatnonzero(keep)
    stops = np.append(bins.starts[1:], len(index))

    assert bins.n.sum() == keep.sum()
    for first, stop, n in zip(bins.starts, stops, bins.n, strict=True):
        members = index[first:stop]
        assert len(members) == n > 0
        assert members[-1] - members[0] == len(members) - 1


@given(n=st.integers(1, 6000))
@settings(max_examples=40)
def test_a_whole_hold_is_never_cut_into_more_bins_than_it_says(n: int):
    assert len(bins_of(np.ones(n, dtype=bool)).n) <= MOST_BINS


@given(MASKS.filter(np.any))
@settings(max_examples=40)
def test_binning_keeps_the_mean_of_readings_and_of_columns(keep):
    bins = bins_of(keep)
    y = np.arange(len(keep), dtype=float)
    both = np.column_stack([y, y**2])

    assert bins.n @ bins.mean(y) == pytest.approx(y[keep].sum())
    assert np.allclose(bins.mean(both)[:, 0], bins.mean(y))


# --------------------------------------------------------------------------------- fit


@given(st.integers(0, 5000))
@settings(max_examples=30)
def test_white_noise_gives_ordinary_least_squares(seed: int):
    design, y = line(seed)
    white = whitener(design[:, 1], np.ones(len(y)), noise=0.1, walk=0.0)

    found = fit(design, y, white)

    assert found.coefficients == pytest.approx(np.linalg.lstsq(design, y)[0], abs=1e-9)
    assert found.residuals == pytest.approx(y - design @ found.coefficients)
    assert found.degrees == len(y) - 2


def test_the_covariance_is_the_textbooks():
    """Straight line, σ known: s²·(XᵀX)⁻¹, never scaled down (JCGM 100, H.3's form)."""
    design, y = line(3)
    found = fit(design, y, whitener(design[:, 1], np.ones(len(y)), noise=0.2, walk=0.0))

    assert found.covariance == pytest.approx(0.04 * np.linalg.inv(design.T @ design))
    assert found.u(1) == pytest.approx(found.covariance[1, 1] ** 0.5)
    both = np.array([1.0, 2.0])
    assert found.u_of(both) == pytest.approx((both @ found.covariance @ both) ** 0.5)


def test_residuals_larger_than_the_noise_widen_the_covariance():
    design, y = line(3, noise=0.4)
    found = fit(design, y, whitener(design[:, 1], np.ones(len(y)), noise=0.1, walk=0.0))

    grown = found.covariance / (0.01 * np.linalg.inv(design.T @ design))
    assert grown == pytest.approx(found.chi2 / found.degrees)
    assert grown[0, 0] == pytest.approx(16.0, rel=0.3)


@given(st.integers(0, 5000))
@settings(max_examples=20)
def test_a_walking_zero_is_whitened(seed: int):
    """W·Σ·Wᵀ = 1 for Σ of white noise in the bins plus a random walk."""
    rng = np.random.default_rng(seed)
    t, n = np.cumsum(rng.uniform(0.01, 0.1, 40)), rng.integers(1, 6, 40).astype(float)
    white = whitener(t, n, noise=0.05, walk=0.01)
    since = t - t[0]
    sigma = 0.01**2 * np.minimum.outer(since, since) + np.diag(0.05**2 / n)

    assert white @ sigma @ white.T == pytest.approx(np.eye(40), abs=1e-9)


def test_stated_uncertainties_hold_with_a_walking_zero():
    rng = np.random.default_rng(8)
    t = np.arange(240) / 80.0
    design = np.column_stack([np.ones(240), t, (t > 1.5).astype(float)])
    bins = bins_of(np.ones(240, dtype=bool))
    white = whitener(bins.mean(t), bins.n, noise=0.05, walk=0.01)
    off = []
    for _ in range(200):
        walked = np.cumsum(rng.normal(0.0, 0.01 / np.sqrt(80.0), 240))
        y = rng.normal(0.0, 0.05, 240) + walked
        found = fit(bins.mean(design), bins.mean(y), white)
        off.append(found.coefficients[2] / found.u(2))

    assert np.std(off) == pytest.approx(1.0, abs=0.16)
    assert abs(np.mean(off)) < 0.25


def test_what_is_known_before_pulls_a_coefficient_to_itself():
    design, y = line(1)
    white = whitener(design[:, 1], np.ones(len(y)), noise=0.1, walk=0.0)

    held = fit(design, y, white, (np.array([0.0, 7.0]), np.array([np.inf, 1e-6])))
    free = fit(design, y, white, FREE)

    assert held.coefficients[1] == pytest.approx(7.0, abs=1e-4)
    assert free.coefficients == pytest.approx(fit(design, y, white).coefficients)


def test_a_column_of_nothing_does_no_harm_where_it_is_held():
    design, y = line(1)
    wide = np.column_stack([design, np.zeros(len(y))])
    white = whitener(design[:, 1], np.ones(len(y)), noise=0.1, walk=0.0)
    prior = (np.zeros(3), np.array([np.inf, np.inf, 1.0]))

    found = fit(wide, y, white, prior)

    assert found.coefficients[:2] == pytest.approx(fit(design, y, white).coefficients)
    assert found.coefficients[2] == pytest.approx(0.0)
