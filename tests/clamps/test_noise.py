"""Whitening in one pass against the dense covariance it stands for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.noise import whitening


def covariance(t_s, variance, wander):
    return np.diag(variance) + wander**2 * np.minimum.outer(t_s - t_s[0], t_s - t_s[0])


@given(st.integers(2, 30), st.floats(0.0, 1.0), st.integers(0, 2**32 - 1))
def test_it_undoes_the_dense_covariance(n, wander, seed):
    rng = np.random.default_rng(seed)
    t_s, variance = np.cumsum(rng.uniform(0.01, 0.5, n)), rng.uniform(0.01, 1.0, n)
    white = whitening(t_s=t_s, variance=variance, wander=wander)
    dense = covariance(t_s, variance, wander)
    columns = rng.normal(size=(n, 3))
    expected = columns.T @ np.linalg.solve(dense, columns)
    assert white(columns).T @ white(columns) == pytest.approx(expected, rel=1e-6, abs=1e-8)
    assert white.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-6)


def test_white_noise_alone_is_only_scaled():
    white = whitening(t_s=np.arange(4.0), variance=np.full(4, 0.25), wander=0.0)
    one = np.array([1.0, -2.0, 0.5, 3.0])
    assert white(one) @ white(one) == pytest.approx(4.0 * (one @ one))
