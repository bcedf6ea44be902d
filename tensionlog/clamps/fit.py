"""The joint least squares of a hold test, with its doubts about the zero's wander.

For each of several rates of wander the parameters are found by damped Gauss–Newton on
the whitened rows and weak priors; the rates are then weighed by how well they explain the
trace, and means and covariances mixed by those weights.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tensionlog.clamps.law import Rows, reading
from tensionlog.clamps.noise import Whitening, whitening
from tensionlog.clamps.trace import Bools, Floats

WANDERS = (0.0015, 0.003, 0.005, 0.008, 0.013)
"""Rates tried, N/√s: cells of this kind wander 0.002–0.01 (bench experience)."""

LOG_WEIGHT = (-1.5, 0.0, 0.0, 0.0, -1.5)
"""The outer two are less likely before the trace is seen."""

MOST_MOVES, ENOUGH = 40, 5e-3

FREE = 1e4
"""Prior spread of what the trace alone decides, newtons."""


class Prior(NamedTuple):
    """Independent normal priors on the parameters."""

    mean: Floats
    sd: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Parameters of `law` with their covariance.

    Attributes:
        rows: What was fitted, with the slips it knows.
        theta: Parameters, in the order of `law`, shape (p,).
        covariance: Of the parameters, shape (p, p).
        wander: Most likely rate of the zero's walk, N/√s.
        evidence: Log of how well the law explains the rows, against the noise alone.
    """

    rows: Rows
    theta: Floats
    covariance: Floats
    wander: float
    evidence: float = 0.0

    def u(self, place: int) -> float:
        """Standard uncertainty of one parameter."""
        return float(np.sqrt(self.covariance[place, place]))

    def u_of(self, gradient: Floats) -> float:
        """Standard uncertainty of a number with this gradient in the parameters."""
        return float(np.sqrt(max(float(gradient @ self.covariance @ gradient), 0.0)))


def fit_rows(
    rows: Rows,
    prior: Prior,
    wanders: tuple[float, ...] = WANDERS,
    *,
    start: Floats | None = None,
    moves: int = MOST_MOVES,
) -> Fit:
    """Fit the law to `rows`; `prior` covers the fixed parameters, slips are free.

    `start` is where to begin to look, where something better than the priors is known;
    `moves` is how long to look.
    """
    wide = _with_slips(prior, len(rows.slips_s))
    theta, found = wide.mean if start is None else start, []
    for wander in wanders:
        white = whitening(t_s=rows.t_s, variance=rows.variance, wander=wander)
        theta, covariance, evidence = _best(rows, wide, white, theta, moves)
        found.append((theta, covariance, evidence))
    return _mixed(rows, found, wanders)


def _with_slips(prior: Prior, n_slips: int) -> Prior:
    mean = np.append(prior.mean, np.zeros(n_slips))
    return Prior(mean, np.append(prior.sd, np.full(n_slips, FREE)))


def slopes_of(function: Callable[[Floats], Floats], theta: Floats) -> Floats:
    """Change of each value of `function` per unit of each parameter, shape (…, p)."""
    here, columns = function(theta), []
    for place in range(len(theta)):
        small = 1e-5 * max(1.0, abs(theta[place]) * 0.01)
        there = theta.copy()
        there[place] += small
        columns.append((function(there) - here) / small)
    return np.stack(columns, axis=-1)


def _best(
    rows: Rows, prior: Prior, white: Whitening, theta: Floats, moves: int
) -> tuple[Floats, Floats, float]:
    """Best parameters from `theta` on, their covariance, and the evidence for the rate."""
    cost, damping = _cost(rows, prior, white, theta), 1e-3
    for _ in range(moves):
        normal, pull = _normal(rows, prior, white, theta)
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull)
        # One spread of the prior at a time: beyond it the slopes say nothing.
        move = np.clip(move, -prior.sd, prior.sd)
        lower = _cost(rows, prior, white, theta + move)
        if lower > cost:
            damping *= 8.0
            continue
        theta, gained, cost = theta + move, cost - lower, lower
        damping *= 0.2
        if gained < ENOUGH and damping < 1e-2:
            break
    normal = _normal(rows, prior, white, theta)[0]
    evidence = -0.5 * (cost + white.log_determinant + np.linalg.slogdet(normal)[1])
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    return theta, covariance, float(evidence)


def _normal(rows: Rows, prior: Prior, white: Whitening, theta: Floats) -> tuple[Floats, Floats]:
    """Normal matrix at `theta` and the pull of rows and priors on it."""
    slopes = slopes_of(lambda at: reading(at, rows), theta)
    whole = white(np.column_stack([slopes, rows.force - reading(theta, rows)]))
    slope, miss = whole[:, :-1], whole[:, -1]
    normal: Floats = slope.T @ slope + np.diag(prior.sd**-2.0)
    pull: Floats = slope.T @ miss + (prior.mean - theta) / prior.sd**2
    return normal, pull


def _cost(rows: Rows, prior: Prior, white: Whitening, theta: Floats) -> float:
    """Squares of the white misses and of the way from the priors."""
    left = white(rows.force - reading(theta, rows))
    away = (theta - prior.mean) / prior.sd
    return float(left @ left + away @ away)


def _mixed(
    rows: Rows, found: list[tuple[Floats, Floats, float]], wanders: tuple[float, ...]
) -> Fit:
    evidence = np.array([e for _, _, e in found])
    if len(wanders) == len(LOG_WEIGHT):
        evidence = evidence + np.array(LOG_WEIGHT)
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    theta: Floats = weights @ np.stack([mean for mean, _, _ in found])
    covariance = np.zeros((len(theta), len(theta)))
    for weight, (mean, spread, _) in zip(weights, found, strict=True):
        away = mean - theta
        covariance += weight * (spread + np.outer(away, away))
    wander = wanders[int(np.argmax(weights))]
    best = float(evidence.max() + np.log(np.exp(evidence - evidence.max()).sum()))
    return Fit(rows=rows, theta=theta, covariance=covariance, wander=wander, evidence=best)


def mixed_in(fit: Fit, ways: Sequence[Fit], likely: Sequence[float]) -> Fit:
    """A fit of the first of several ways, with the doubt about which of them is true.

    Args:
        fit: The first way, fitted well.
        ways: All of them with the same parameters, fitted roughly.
        likely: Log of how likely each is.
    """
    weights = np.exp(np.array(likely) - max(likely))
    weights /= weights.sum()
    away = np.stack([way.theta - ways[0].theta for way in ways])
    moved: Floats = weights @ away
    spread = (away - moved).T @ ((away - moved) * weights[:, None])
    return replace(fit, theta=fit.theta + moved, covariance=fit.covariance + spread)


def without(rows: Rows, drop: Bools) -> Rows:
    """The rows but those marked in `drop` (bool, shape (n,))."""
    keep = ~drop
    return replace(
        rows,
        t_s=rows.t_s[keep],
        force=rows.force[keep],
        variance=rows.variance[keep],
        loaded=rows.loaded[keep],
        alone=rows.alone[keep],
        fixed=rows.fixed[keep],
    )
