"""The joint least squares of a hold test, with its doubts about the zero's wander.

For each of several rates of wander the parameters are found by Gauss–Newton on the
whitened rows and weak priors; the rates are then weighed by how well they explain the
trace, and means and covariances mixed by those weights.
"""

from collections.abc import Callable
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
    """

    rows: Rows
    theta: Floats
    covariance: Floats
    wander: float

    def u(self, place: int) -> float:
        """Standard uncertainty of one parameter."""
        return float(np.sqrt(self.covariance[place, place]))

    def u_of(self, gradient: Floats) -> float:
        """Standard uncertainty of a number with this gradient in the parameters."""
        return float(np.sqrt(max(float(gradient @ self.covariance @ gradient), 0.0)))


def fit_rows(rows: Rows, prior: Prior, wanders: tuple[float, ...] = WANDERS) -> Fit:
    """Fit the law to `rows`; `prior` covers the fixed parameters, slips are free."""
    wide = _with_slips(prior, len(rows.slips_s))
    theta, found = wide.mean, []
    for wander in wanders:
        white = whitening(t_s=rows.t_s, variance=rows.variance, wander=wander)
        theta, covariance, evidence = _gauss_newton(rows, wide, white, theta)
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


def _gauss_newton(
    rows: Rows, prior: Prior, white: Whitening, theta: Floats
) -> tuple[Floats, Floats, float]:
    cost = _cost(rows, prior, white, theta)
    for _ in range(12):
        slopes = slopes_of(lambda at: reading(at, rows), theta)
        whole = white(np.column_stack([slopes, rows.force - reading(theta, rows)]))
        slope, miss = whole[:, :-1], whole[:, -1]
        normal = slope.T @ slope + np.diag(prior.sd**-2.0)
        pull = slope.T @ miss + (prior.mean - theta) / prior.sd**2
        move = np.asarray(np.linalg.solve(normal, pull), dtype=np.float64)
        theta, lower = _downhill(rows, prior, white, theta, move)
        if cost - lower < 1e-3:
            break
        cost = lower
    evidence = -0.5 * (lower + white.log_determinant + np.linalg.slogdet(normal)[1])
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    return theta, covariance, float(evidence)


def _cost(rows: Rows, prior: Prior, white: Whitening, theta: Floats) -> float:
    """Squares of the white misses and of the way from the priors."""
    left = white(rows.force - reading(theta, rows))
    away = (theta - prior.mean) / prior.sd
    return float(left @ left + away @ away)


def _downhill(
    rows: Rows, prior: Prior, white: Whitening, theta: Floats, move: Floats
) -> tuple[Floats, float]:
    """Go along `move`, as far as it leads down."""
    start = _cost(rows, prior, white, theta)
    for share in (1.0, 0.4, 0.1):
        there = theta + share * move
        cost = _cost(rows, prior, white, there)
        if cost < start:
            return there, cost
    return theta, start


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
    return Fit(rows=rows, theta=theta, covariance=covariance, wander=wander)


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
    )
