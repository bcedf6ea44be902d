"""A fall and what the head makes of it, as the converter shows it.

After the clamp opens, the reading falls by the drop and comes back as the head lets it.
The force's course is tabulated once, smeared by the converter's averaging boxes, and
looked up for many moments at once; what is linear (level, slope, rise, drop) is solved
for all of them in one set of normal equations.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.edge import SETTLE_PERIODS

Floats = NDArray[np.float64]

STEP_S = 0.001
"""Distance of the tables' entries: a tenth of the shortest fall and converter."""

CONVERTERS = ((1.0,), (2.0,), (4.0,), (1.0, 1.0, 1.0), (1.0, 1.0, 1.0, 1.0))
"""Averaging boxes of common bridge converters, in conversions; a job shows which."""

MIDDLE_CONVERTER = (1.0, 1.0, 1.0)
"""Its delay lies between those of its neighbours: half a conversion wrong at worst where
the falls of a job cannot tell which of them it was."""

CLEARLY_BETTER = 0.08
"""Mean logarithm of the misfit by which another converter must be better."""

USUAL_CONVERTER = (SETTLE_PERIODS / 4.0,) * 4
"""Four conversions one after another: settled after `SETTLE_PERIODS`."""

FALLS_S = (0.005, 0.009, 0.013, 0.017, 0.021, 0.025, 0.030)
"""A clamp opens in 5–30 ms; between these the tables are mixed."""

FALL_S, U_FALL_S = 0.0175, 0.008
"""A clamp opens in 5–30 ms: middle and standard uncertainty."""

HIGHEST_RATE_HZ = 330.0
"""Above this neighbouring samples are averaged: no fall is over in less than 5 ms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """The part of a hold that is looked at, averaged down to what a fall needs.

    Attributes:
        t: Times, seconds, shape (n,); such that the boxes end at them.
        y: Readings, shape (n,).
        noise: Standard deviation of one of these samples.
        period: Time between these samples.
        boxes_s: Lengths of the averaging boxes behind each sample, seconds.
    """

    t: Floats
    y: Floats
    noise: float
    period: float
    boxes_s: tuple[float, ...]

    def kept(self, keep: NDArray[np.bool_] | slice) -> "Trace":
        """Return the samples that are to be looked at."""
        return Trace(
            t=self.t[keep],
            y=self.y[keep],
            noise=self.noise,
            period=self.period,
            boxes_s=self.boxes_s,
        )


def trace_of(
    t: Floats, y: Floats, *, noise: float, period: float, converter: Sequence[float]
) -> Trace:
    """Average a stretch down where it is sampled faster than a fall needs.

    Args:
        t: Times, seconds, shape (n,).
        y: Readings, shape (n,).
        noise: Standard deviation of one sample.
        period: Time between samples, seconds.
        converter: Averaging boxes, in conversions.
    """
    fold = max(1, -(-round(1.0 / period) // round(HIGHEST_RATE_HZ)))
    boxes = tuple(period * box for box in converter)
    noise = max(noise, 1e-9)
    if fold == 1:
        return Trace(t=t, y=y, noise=noise, period=period, boxes_s=boxes)
    whole = len(t) // fold * fold
    # A mean of `fold` samples ends half a period behind the last of them.
    ends = t[:whole].reshape(-1, fold).mean(axis=1) + 0.5 * fold * period
    return Trace(
        t=ends,
        y=y[:whole].reshape(-1, fold).mean(axis=1),
        noise=noise / np.sqrt(fold),
        period=fold * period,
        boxes_s=(*boxes, fold * period),
    )


def grid(length_s: float) -> Floats:
    """Times that a table of this length stands for, shape (m,)."""
    return np.arange(0.0, length_s, STEP_S)


def smeared(rows: Floats, widths_s: Sequence[float]) -> Floats:
    """Mean over the last width of each row, one width after the other; 0 before.

    Args:
        rows: Tables from 0 on, shape (k, m).
        widths_s: Lengths of the boxes, seconds.
    """
    for width_s in widths_s:
        # Rows jump at 0 from nothing: trapezoids from there on.
        total = np.cumsum(rows, axis=1) - 0.5 * (rows + rows[:, :1])
        back = width_s / STEP_S
        low = int(back)
        part = back - low
        rows = total / back
        rows[:, low:] -= ((1.0 - part) / back) * total[:, : total.shape[1] - low]
        rows[:, low + 1 :] -= (part / back) * total[:, : total.shape[1] - low - 1]
    return rows


_ENTRIES = np.arange(20_000.0)


def look_up(table: Floats, elapsed: Floats) -> Floats:
    """Interpolate a table at seconds after the beginning, any shape; 0 before it.

    Args:
        table: Entries from 0 on, shape (m,); its last one holds beyond its end.
        elapsed: Seconds.
    """
    return np.interp(elapsed / STEP_S, _ENTRIES[: len(table)], table, left=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Many linear fits to one trace.

    Attributes:
        coefficients: Shape (b, p).
        chi2: Least weighted sum of squares, what the prior costs included, shape (b,).
    """

    coefficients: Floats
    chi2: Floats


def solve_many(design: Floats, y: Floats, noise: float, prior: tuple[Floats, Floats]) -> Solved:
    """Least squares for each design.

    Args:
        design: Shape (b, n, p).
        y: Shape (n,).
        noise: Standard deviation of one sample.
        prior: Means and deviations of the coefficients, shape (p,) each.
    """
    means, sds = prior
    weight = 1.0 / sds**2
    turned = design.transpose(0, 2, 1)
    normal = turned @ design / noise**2
    normal += np.diag(weight + 1e-9)
    right = turned @ y / noise**2 + weight * means
    solution = np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], dtype=np.float64)
    total = float(y @ y) / noise**2 + float(means @ (weight * means))
    return Solved(coefficients=solution, chi2=total - (solution * right).sum(axis=1))


def shrunk(drop: float, u_drop: float, *, gain: float) -> tuple[float, float]:
    """An unseen drop's estimate: the greatest of a hundred noise steps is no drop.

    The mean over "no fall" and "this fall", weighed by the likelihood of each against
    the hundreds of moments that were looked at.

    Args:
        drop: As fitted where it fits best.
        u_drop: One standard uncertainty of it.
        gain: Chi-square by which that fit beats one without a fall.

    Returns:
        The estimate and its standard uncertainty.
    """
    weight = 1.0 / (1.0 + MOMENTS * np.exp(-0.5 * float(np.clip(gain, 0.0, 60.0))))
    spread = np.sqrt(weight * (1.0 - weight)) * drop
    return float(weight * drop), float(np.hypot(u_drop, spread))


MOMENTS = 3e4
"""Moments and shapes tried in one hold times what a model of a head leaves out: an even
chance where a fall is about to be seen."""
