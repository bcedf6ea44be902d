"""Readings that carry white noise on a wandering zero, made white.

Differences of neighbours of a random walk plus white noise have a covariance of one
diagonal and its neighbours, so the exact whitening takes one pass and no matrix.
"""

from typing import NamedTuple

import numpy as np

from tensionlog.clamps.trace import Floats


class Whitening(NamedTuple):
    """The factor of the covariance of the differences.

    Attributes:
        scale: Diagonal of the factor, shape (n,).
        carry: Below the diagonal, shape (n,); the first is 0.
    """

    scale: Floats
    carry: Floats

    @property
    def log_determinant(self) -> float:
        """Of the whole covariance."""
        return float(2.0 * np.log(self.scale).sum())

    def __call__(self, columns: Floats) -> Floats:
        """White form of columns over the rows, shape (n,) or (n, k)."""
        from scipy.linalg import solve_banded

        steps = np.diff(columns, axis=0, prepend=np.zeros_like(columns[:1]))
        bands = np.stack([self.scale, np.append(self.carry[1:], 0.0)])
        white: Floats = solve_banded((1, 0), bands, steps, check_finite=False)
        return white


def whitening(*, t_s: Floats, variance: Floats, wander: float) -> Whitening:
    """Whiten readings with a noise of `variance` on a walk of `wander` N/√s.

    Args:
        t_s: Times, rising, seconds, shape (n,).
        variance: White noise of each reading, N², above 0, shape (n,).
        wander: Root of the walk's variance per second.
    """
    n = len(t_s)
    scale, carry = np.empty(n), np.zeros(n)
    diagonal = np.append(variance[0], variance[1:] + variance[:-1] + wander**2 * np.diff(t_s))
    scale[0] = np.sqrt(diagonal[0])
    for row in range(1, n):
        carry[row] = -variance[row - 1] / scale[row - 1]
        scale[row] = np.sqrt(diagonal[row] - carry[row] ** 2)
    return Whitening(scale, carry)
