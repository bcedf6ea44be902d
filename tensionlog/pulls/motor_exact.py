"""A motor's course fitted to samples by nonlinear least squares (Levenberg–Marquardt)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace
from tensionlog.pulls.motor_course import DROP, Grid, courses, shown

Floats = NDArray[np.float64]

NUDGE = np.array([0.02, 0.05, 0.02, 0.02, 0.0004, 0.0004, 0.01, 0.02, 0.004])
"""By how much each parameter is moved for its derivative."""

LEAST = np.array([-np.inf, 1e-3, 0.0, -np.inf, -np.inf, 0.003, -4.0, 0.02, 0.005])
MOST = np.array([np.inf, np.inf, np.inf, np.inf, np.inf, 0.04, 0.0, np.inf, 0.6])
"""Bounds of level, slope, drop, upper edge, moment, duration, ln τ, band, share short."""

ENOUGH = 0.1
"""A round that gains less chi-square than this was the last."""

FREE = 0.01
"""A step that is held back by more than this is short for other reasons."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Where a fit begins.

    Attributes:
        mode: One of `motor_course.MODES`.
        p: Parameters to begin with, shape (9,).
        prior: What is known of them; every deviation above 0.
    """

    mode: str
    p: Floats
    prior: Prior


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Samples that are fitted, and the grid for them."""

    trace: Trace
    grid: Grid


def stretch_of(trace: Trace, top_t: float) -> Stretch:
    """Samples with the grid for them: fine against the converter and the shortest fall."""
    step_s = float(np.clip(trace.period / 5.0, 0.0008, 0.0025))
    grid = Grid.of(trace.t, top_t=top_t, boxes_s=trace.boxes_s, step_s=step_s)
    return Stretch(trace=trace, grid=grid)


def chi2_of(stretch: Stretch, wanted: Sequence[tuple[str, Floats]]) -> Floats:
    """Squared deviations of the samples from the course of each row of each mode."""
    trace, grid = stretch.trace, stretch.grid
    rest = (trace.y - shown(grid, courses(grid, wanted))) / trace.noise
    return np.asarray(np.einsum("ij,ij->i", rest, rest))


NUDGED = np.vstack([np.zeros(9), np.diag(NUDGE)])
"""The parameters themselves, and each of them moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """Where some fits stand, first axis: fits.

    Attributes:
        p: Parameters, shape (f, 9).
        cost: Chi-square of the samples and of the prior, shape (f,).
        left: Normal matrices, shape (f, 9, 9).
        right: Right sides, shape (f, 9).
    """

    p: Floats
    cost: Floats
    left: Floats
    right: Floats

    def step(self, ease: Floats, these: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Where the next step of some of them leads, (k, 9), and what it should gain, (k,)."""
        left, right = self.left[these], self.right[these]
        np.einsum("fii->fi", left)[:] *= 1.0 + ease[these, None]
        step = np.linalg.solve(left, right[:, :, None])[..., 0]
        there = np.minimum(np.maximum(self.p[these] + step, LEAST), MOST)
        return there, (step * right).sum(axis=1)

    def take(self, other: "_Point", these: NDArray[np.intp], better: NDArray[np.bool_]) -> None:
        """Move those of them that another point is better for."""
        to = these[better]
        for mine, its in (
            (self.p, other.p),
            (self.cost, other.cost),
            (self.left, other.left),
            (self.right, other.right),
        ):
            mine[to] = its[better]


def _point(stretch: Stretch, starts: Sequence[Start], p: Floats) -> _Point:
    """Chi-square at `p` and what the derivatives say of its surroundings."""
    trace, grid = stretch.trace, stretch.grid
    rows = p[:, None, :] + NUDGED
    wanted = [(start.mode, rows[k]) for k, start in enumerate(starts)]
    values = shown(grid, courses(grid, _merged(wanted))).reshape(len(p), 10, -1)
    model = values[:, 0]
    slopes = (values[:, 1:] - model[:, None]) / (NUDGE[:, None] * trace.noise)
    rest = (trace.y - model) / trace.noise
    means = np.array([start.prior.means for start in starts])
    off = means - p
    held = np.array([start.prior.sds for start in starts]) ** -2.0
    left = slopes @ slopes.transpose(0, 2, 1)
    np.einsum("fii->fi", left)[:] += held
    return _Point(
        p=p,
        cost=(rest * rest).sum(axis=1) + (off * off * held).sum(axis=1),
        left=left,
        right=(slopes @ rest[:, :, None])[..., 0] + held * off,
    )


def _merged(wanted: list[tuple[str, Floats]]) -> list[tuple[str, Floats]]:
    """Neighbours of one mode taken together."""
    out: list[tuple[str, Floats]] = []
    for mode, rows in wanted:
        if out and out[-1][0] == mode:
            out[-1] = mode, np.vstack([out[-1][1], rows])
        else:
            out.append((mode, rows))
    return out


def fit_courses(stretch: Stretch, starts: Sequence[Start], *, rounds: int = 10) -> list[Fitted]:
    """Fit a course from each of some starts, all of them side by side.

    Args:
        stretch: The samples.
        starts: Where to begin; those of one mode next to each other.
        rounds: Steps at most.
    """
    p = np.minimum(np.maximum(np.array([start.p for start in starts]), LEAST), MOST)
    at = _point(stretch, starts, p)
    ease = np.full(len(starts), 1e-3)
    these = np.arange(len(starts))
    for _ in range(rounds):
        there, promised = at.step(ease, these)
        going = (promised >= ENOUGH) | (ease[these] > FREE)
        # So small a last step needs no look at what it leads to.
        at.p[these[~going]] = there[~going]
        these = these[going]
        if not len(these):
            break
        tried = _point(stretch, [starts[int(i)] for i in these], there[going])
        gained = at.cost[these] - tried.cost
        at.take(tried, these, gained > 0.0)
        was_free = ease[these] <= FREE
        ease[these] = np.maximum(ease[these] * np.where(gained > 0.0, 0.1, 10.0), 1e-4)
        ended = (gained >= 0.0) & (gained < ENOUGH) & was_free
        these = these[~ended]
        if not len(these):
            break
    u = np.sqrt(np.einsum("fii->fi", np.linalg.inv(at.left)))
    n = len(stretch.trace.y)
    return [
        Fitted(p=at.p[k], u=u[k], chi2=float(at.cost[k]), mode=start.mode, n=n)
        for k, start in enumerate(starts)
    ]


def fit_course(stretch: Stretch, start: Start, *, rounds: int = 10) -> Fitted:
    """Fit a course from one start."""
    return fit_courses(stretch, [start], rounds=rounds)[0]
