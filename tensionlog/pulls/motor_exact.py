"""A motor's course fitted to samples by nonlinear least squares (Levenberg–Marquardt)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace
from tensionlog.pulls.motor_course import DROP, Grid, course, shown

Floats = NDArray[np.float64]

NUDGE = np.array([0.02, 0.05, 0.02, 0.02, 0.0004, 0.0004, 0.01, 0.02, 0.004])
"""By how much each parameter is moved for its derivative."""

LEAST = np.array([-np.inf, 1e-3, 0.0, -np.inf, -np.inf, 0.003, -4.0, 0.02, 0.005])
MOST = np.array([np.inf, np.inf, np.inf, np.inf, np.inf, 0.04, 0.0, np.inf, 0.6])
"""Bounds of level, slope, drop, upper edge, moment, duration, ln τ, band, share short."""

ENOUGH = 0.1
"""A round that gains less chi-square than this was the last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Means and deviations of a course's parameters, shape (9,) each."""

    means: Floats
    sds: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A course fitted to samples.

    Attributes:
        p: Parameters, shape (9,).
        u: Their standard uncertainties, shape (9,).
        chi2: Squared deviations left, what the prior costs included.
        mode: One of `motor_course.MODES`.
        n: Samples.
    """

    p: Floats
    u: Floats
    chi2: float
    mode: str
    n: int

    @property
    def misfit(self) -> float:
        """Reduced chi-square."""
        return self.chi2 / max(1, self.n - 6)

    @property
    def u_drop(self) -> float:
        """Standard uncertainty of the drop, widened where the course does not fit."""
        return float(self.u[DROP]) * max(1.0, float(np.sqrt(self.misfit)))


def step_of(trace: Trace) -> float:
    """Step of the grid: fine against the converter and the shortest fall."""
    return float(np.clip(trace.period / 5.0, 0.0008, 0.0025))


def grid_of(trace: Trace, top_t: float) -> Grid:
    """The grid for a trace's own samples."""
    return Grid.of(trace.t, top_t=top_t, boxes_s=trace.boxes_s, step_s=step_of(trace))


def chi2_of(trace: Trace, rows: Floats, *, mode: str, top_t: float) -> Floats:
    """Squared deviations of the samples from each row's course, shape (b,)."""
    grid = grid_of(trace, top_t)
    rest = (trace.y - shown(grid, course(grid, rows, mode))) / trace.noise
    return np.asarray(np.einsum("ij,ij->i", rest, rest))


@dataclass(slots=True, kw_only=True)
class _Descent:
    """Where a fit stands: model and derivatives come from one evaluation."""

    trace: Trace
    grid: Grid
    prior: Prior
    mode: str

    def cost(self, p: Floats, model: Floats) -> float:
        """Chi-square of the samples and of the prior."""
        rest = (self.trace.y - model) / self.trace.noise
        off = (p - self.prior.means) / self.prior.sds
        return float(rest @ rest) + float(off @ off)

    def value(self, p: Floats) -> Floats:
        """The course at `p`, shape (n,)."""
        return np.asarray(shown(self.grid, course(self.grid, p[None], self.mode))[0])

    def slopes(self, p: Floats, model: Floats) -> Floats:
        """Its derivatives there, shape (9, n)."""
        rows = np.tile(p, (9, 1))
        rows[np.arange(9), np.arange(9)] += NUDGE
        values = shown(self.grid, course(self.grid, rows, self.mode))
        result: Floats = (values - model) / NUDGE[:, None]
        return result

    def normal(self, p: Floats, model: Floats, slopes: Floats) -> tuple[Floats, Floats]:
        """Normal matrix and right side."""
        held = 1.0 / self.prior.sds**2
        weight = 1.0 / self.trace.noise**2
        left = slopes @ slopes.T * weight + np.diag(held)
        right = slopes @ (self.trace.y - model) * weight + held * (self.prior.means - p)
        return left, right


def fit_course(
    trace: Trace, start: Floats, prior: Prior, *, mode: str, top_t: float, rounds: int = 10
) -> Fitted:
    """Fit a course, beginning at `start`.

    Args:
        trace: The samples.
        start: Parameters to begin with, shape (9,).
        prior: What is known of them; every deviation above 0.
        mode: One of `motor_course.MODES`.
        top_t: The ramp's end.
        rounds: Steps at most.
    """
    run = _Descent(trace=trace, grid=grid_of(trace, top_t), prior=prior, mode=mode)
    p = np.clip(start, LEAST, MOST)
    model = run.value(p)
    slopes = run.slopes(p, model)
    best, ease, fresh = run.cost(p, model), 1e-3, True
    left, right = run.normal(p, model, slopes)
    for _ in range(rounds):
        eased = left + ease * np.diag(np.diag(left))
        q = np.clip(p + np.linalg.solve(eased, right), LEAST, MOST)
        tried = run.value(q)
        cost = run.cost(q, tried)
        gained = best - cost
        if gained > 0.0:
            p, model, best, ease = q, tried, cost, max(0.1 * ease, 1e-6)
        if 0.0 <= gained < ENOUGH and fresh:
            break
        # Derivatives cost ten times a value: old ones will do while they lead down.
        if gained < ENOUGH or gained < 0.3 * best:
            if gained <= 0.0 and fresh:
                ease *= 10.0
                continue
            slopes, fresh = run.slopes(p, model), True
        else:
            fresh = False
        left, right = run.normal(p, model, slopes)
    u = np.sqrt(np.diag(np.linalg.inv(left)))
    return Fitted(p=p, u=u, chi2=best, mode=mode, n=len(trace.y))
