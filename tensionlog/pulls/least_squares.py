"""Least squares on a short trace whose noise is white plus a random walk of the zero.

A hold of a few seconds at 80 to 1,280 samples/s is averaged into about `MOST_BINS`
bins first, the model's columns with it: a step and a slow law lose nothing by it, and
the covariance stays small enough to be handled exactly.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_BINS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Coefficients with their covariance.

    Attributes:
        coefficients: Shape (p,).
        covariance: Shape (p, p), scaled up where the residuals ask for it, never down.
        chi2: Weighted sum of squared residuals.
        degrees: Degrees of freedom.
        residuals: Observed minus fitted, one per bin.
    """

    coefficients: Floats
    covariance: Floats
    chi2: float
    degrees: int
    residuals: Floats

    def u(self, index: int) -> float:
        """One standard uncertainty of coefficient `index`."""
        return float(np.sqrt(self.covariance[index, index]))

    def u_of(self, gradient: Floats) -> float:
        """One standard uncertainty of a linear combination, gradient of shape (p,)."""
        return float(np.sqrt(gradient @ self.covariance @ gradient))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bins:
    """Averages of neighbouring samples.

    Attributes:
        keep: Which samples count, shape (n,).
        starts: Where each bin begins among the kept samples, shape (m,).
        n: Samples in each bin, shape (m,).
    """

    keep: NDArray[np.bool_]
    starts: NDArray[np.int64]
    n: Floats

    def mean(self, columns: Floats) -> Floats:
        """Average a column of shape (n,) or a design of shape (n, p) within the bins."""
        total = np.add.reduceat(columns[self.keep], self.starts, axis=0)
        result: Floats = total / (self.n if columns.ndim == 1 else self.n[:, None])
        return result


def bins_of(keep: NDArray[np.bool_]) -> Bins:
    """Bin the kept samples evenly, never across a stretch that is left out."""
    count = int(keep.sum())
    size = max(1, -(-count // MOST_BINS))
    run = np.cumsum(np.diff(keep, prepend=False) & keep)[keep]
    within = np.arange(count) - np.searchsorted(run, run)
    starts = np.flatnonzero(within % size == 0)
    return Bins(keep=keep, starts=starts, n=np.diff(starts, append=count).astype(np.float64))


def whitener(t: Floats, n: Floats, *, noise: float, walk: float) -> Floats:
    """Inverse Cholesky factor of the bins' covariance, shape (m, m), or (m,) without walk.

    Args:
        t: Mean time of each bin, shape (m,).
        n: Samples in each bin, shape (m,).
        noise: Standard deviation of one sample.
        walk: Random walk of the zero, units per √s.
    """
    white = noise**2 / n
    if walk <= 0.0:
        result: Floats = 1.0 / np.sqrt(white)
        return result
    since = t - t[0]
    covariance = walk**2 * np.minimum.outer(since, since)
    covariance[np.diag_indices_from(covariance)] += white
    return np.linalg.inv(np.linalg.cholesky(covariance))


def fit(
    design: Floats, y: Floats, white: Floats, prior: tuple[Floats, Floats] | None = None
) -> Fit:
    """Generalised least squares.

    Args:
        design: Shape (m, p).
        y: Shape (m,).
        white: From `whitener`.
        prior: Means and standard deviations of the coefficients, shape (p,) each;
            an infinite deviation leaves a coefficient free.
    """
    a = white[:, None] * design if white.ndim == 1 else white @ design
    b = white * y if white.ndim == 1 else white @ y
    if prior is not None:
        held = np.isfinite(prior[1])
        rows = np.diag(1.0 / prior[1])[held]
        a, b = np.vstack([a, rows]), np.concatenate([b, rows @ prior[0]])
    scale = np.sqrt((a * a).sum(axis=0))
    scale[scale == 0.0] = 1.0
    q, r = np.linalg.qr(a / scale)
    r_inverse = np.linalg.inv(r)
    coefficients = r_inverse @ (q.T @ b)
    misfit = b - (a / scale) @ coefficients
    degrees = max(1, len(b) - design.shape[1])
    chi2 = float(misfit @ misfit)
    grow = max(1.0, chi2 / degrees)
    covariance = grow * (r_inverse @ r_inverse.T) / np.outer(scale, scale)
    coefficients = coefficients / scale
    return Fit(
        coefficients=coefficients,
        covariance=covariance,
        chi2=chi2,
        degrees=degrees,
        residuals=y - design @ coefficients,
    )
