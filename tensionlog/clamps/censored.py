"""Readings of which some are only known to lie below a limit.

A release that shows no drop says that the held string had lost less than the dead band,
not that it had lost nothing. Means of such readings are wrong in either direction; these
estimates are not.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.clamps.trace import Bools, Floats
from tensionlog.errors import ClampError


class Interval(NamedTuple):
    """An estimate with the ends of its interval."""

    low: float
    best: float
    high: float


def share_seen(*, seen: int, of: int, confidence: float = 0.95) -> Interval:
    """Share of `of` chances in which something was seen (Wilson's score interval).

    Args:
        seen: How often it was seen.
        of: How often it could have been seen, at least 1.
        confidence: Of the interval.

    >>> interval = share_seen(seen=1, of=10)
    >>> round(interval.low, 3), interval.best, round(interval.high, 3)
    (0.018, 0.1, 0.404)
    """
    if not 0 <= seen <= of or of < 1:
        raise ValueError(
            f"seen must lie in 0 … of and of be at least 1, not {seen!r} of {of!r}"
        )
    z = normal_quantile(confidence)
    middle = (seen + 0.5 * z * z) / (of + z * z)
    half = z / (of + z * z) * math.sqrt(seen * (of - seen) / of + 0.25 * z * z)
    return Interval(max(0.0, middle - half), seen / of, min(1.0, middle + half))


def normal_quantile(confidence: float) -> float:
    """Half width in standard deviations of a two-sided normal interval."""
    from scipy.special import ndtri

    return float(ndtri(0.5 + 0.5 * confidence))


@dataclass(frozen=True, slots=True, kw_only=True)
class TobitFit:
    """A straight model of readings that are left-censored.

    Attributes:
        coefficients: One per column of the design, shape (p,).
        covariance: Of the coefficients, shape (p, p).
        spread: Standard deviation of a reading about the model.
        n_seen: Readings seen.
        n_censored: Readings known only to lie below their limit.
    """

    coefficients: Floats
    covariance: Floats
    spread: float
    n_seen: int
    n_censored: int

    def interval(self, combination: ArrayLike, *, confidence: float = 0.95) -> Interval:
        """A combination of the coefficients with its normal interval."""
        weights = np.asarray(combination, dtype=np.float64)
        best = float(weights @ self.coefficients)
        u = float(np.sqrt(weights @ self.covariance @ weights))
        half = normal_quantile(confidence) * u
        return Interval(best - half, best, best + half)


def fit_tobit(*, design: ArrayLike, values: ArrayLike, seen: ArrayLike) -> TobitFit:
    """Fit by maximum likelihood, in the form in which it has one summit (Olsen 1978).

    Args:
        design: What each reading depends on, shape (n, p).
        values: The reading where seen, the limit it lies below where not, shape (n,).
        seen: Whether each was seen, bool, shape (n,).

    Raises:
        ClampError: Fewer than p + 1 readings were seen, or the design is degenerate.
    """
    x, y = np.asarray(design, dtype=np.float64), np.asarray(values, dtype=np.float64)
    seen_ = np.asarray(seen, dtype=bool)
    if seen_.sum() < x.shape[1] + 1 or np.linalg.matrix_rank(x[seen_]) < x.shape[1]:
        raise ClampError(
            f"{int(seen_.sum())} of {len(y)} releases showed a drop: too few for a fit of "
            f"{x.shape[1]} numbers. String more jobs, or use the hold test."
        )
    theta, information = _summit(x, y, seen_)
    scale = theta[-1]
    # From (β/σ, 1/σ) back to (β, σ).
    back = np.column_stack([np.eye(x.shape[1]) / scale, -theta[:-1] / scale**2])
    covariance: Floats = back @ np.linalg.inv(information) @ back.T
    return TobitFit(
        coefficients=theta[:-1] / scale,
        covariance=covariance,
        spread=float(1.0 / scale),
        n_seen=int(seen_.sum()),
        n_censored=int((~seen_).sum()),
    )


def _summit(x: Floats, y: Floats, seen: Bools) -> tuple[Floats, Floats]:
    """Newton's way to the summit of the likelihood in (β/σ, 1/σ), and its curvature."""
    start = np.linalg.lstsq(x[seen], y[seen], rcond=None)[0]
    spread = max(float(np.std(y[seen] - x[seen] @ start)), 1e-3 * float(np.ptp(y)) + 1e-9)
    theta = np.append(start, 1.0) / spread
    height, slope, information = _likelihood(theta, x, y, seen)
    for _ in range(200):
        move = np.linalg.solve(information, slope)
        share = 1.0
        while share > 1e-8:
            there = theta + share * move
            if there[-1] > 0.0 and (after := _likelihood(there, x, y, seen))[0] >= height:
                break
            share *= 0.5
        else:
            break
        theta, gained = there, after[0] - height
        height, slope, information = after
        if gained < 1e-12 * (1.0 + abs(height)):
            break
    return theta, information


def _likelihood(
    theta: Floats, x: Floats, y: Floats, seen: Bools
) -> tuple[float, Floats, Floats]:
    """Log likelihood, its slope and minus its curvature at (β/σ, 1/σ)."""
    from scipy.special import log_ndtr

    wide = np.column_stack([-x, y])
    z = wide @ theta
    hidden = z[~seen]
    log_below = log_ndtr(hidden)
    height = float(
        np.sum(-0.5 * z[seen] ** 2) + seen.sum() * np.log(theta[-1]) + log_below.sum()
    )
    ratio = np.exp(-0.5 * hidden**2 - 0.5 * np.log(2.0 * np.pi) - log_below)
    pull = np.empty_like(z)
    pull[seen], pull[~seen] = -z[seen], ratio
    bend = np.ones_like(z)
    bend[~seen] = ratio * (ratio + hidden)
    slope: Floats = wide.T @ pull
    slope[-1] += seen.sum() / theta[-1]
    information: Floats = wide.T @ (wide * bend[:, None])
    information[-1, -1] += seen.sum() / theta[-1] ** 2
    return height, slope, information


class RankTest(NamedTuple):
    """Gehan's test: are the readings of A higher than those of B?

    Attributes:
        score: Pairs in which A is surely higher less those in which B is, in standard
            deviations under no difference.
        p: Two-sided probability of a score so far out.
    """

    score: float
    p: float


def gehan(*, a: ArrayLike, a_seen: ArrayLike, b: ArrayLike, b_seen: ArrayLike) -> RankTest:
    """Compare two groups that are left-censored by ranks alone (Gehan 1965).

    Args:
        a: Readings, or limits where not seen, shape (n,).
        a_seen: Whether each was seen, bool, shape (n,).
        b: The same of the other group, shape (m,).
        b_seen: The same, shape (m,).
    """
    from scipy.special import ndtr

    values = np.concatenate([np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)])
    seen = np.concatenate([np.asarray(a_seen, dtype=bool), np.asarray(b_seen, dtype=bool)])
    n, m = len(np.asarray(a)), len(np.asarray(b))
    higher = _surely_higher(values, seen)
    scores = higher.sum(axis=1) - higher.sum(axis=0)
    total = float(scores[:n].sum())
    # Permutation variance of the sum over the first group (Mantel 1967).
    variance = n * m * float(np.sum(scores.astype(np.float64) ** 2)) / ((n + m) * (n + m - 1))
    score = total / math.sqrt(variance) if variance > 0.0 else 0.0
    return RankTest(score, float(2.0 * ndtr(-abs(score))))


def _surely_higher(values: Floats, seen: Bools) -> Floats:
    """1 where reading i is surely higher than reading j, shape (n, n)."""
    over = values[:, None] > values[None, :]
    touching = values[:, None] == values[None, :]
    # What is seen lies above every limit that is no higher; a limit lies above nothing.
    sure = seen[:, None] & (over | (touching & ~seen[None, :]))
    counted: Floats = sure.astype(np.float64)
    return counted
