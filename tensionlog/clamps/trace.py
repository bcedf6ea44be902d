"""Readings made fit for measuring: knocks out, noise known, short spans averaged."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

FINEST_S, WIDEST_S = 0.03, 0.2
"""Widths over which readings are averaged: within each the law is as good as straight."""

RESPONSE_SAMPLES = 4
"""A step is all there after so many conversions (50 ms at 80/s, 400 ms at 10/s)."""


class Bins(NamedTuple):
    """Means of neighbouring readings.

    Attributes:
        t_s: Mean time of each, seconds, shape (n,).
        force: Mean reading of each, shape (n,).
        number: How many readings each rests on, shape (n,).
    """

    t_s: Floats
    force: Floats
    number: Floats


class Readings(NamedTuple):
    """What the cell said, knocks taken out.

    Attributes:
        t_s: Times, seconds, rising, shape (n,).
        force: Readings, shape (n,).
        noise: Standard deviation of one reading.
        step_s: Usual time from one reading to the next.
    """

    t_s: Floats
    force: Floats
    noise: float
    step_s: float

    @property
    def response_s(self) -> float:
        """Time the converter takes to follow a step."""
        return RESPONSE_SAMPLES * self.step_s

    def between(self, start_s: float, end_s: float) -> Floats:
        """Readings from `start_s` up to `end_s`."""
        return self.force[(self.t_s >= start_s) & (self.t_s < end_s)]

    def level(self, start_s: float, end_s: float) -> float:
        """Median reading between two times; NaN where there is none."""
        chosen = self.between(start_s, end_s)
        return float(np.median(chosen)) if chosen.size else float("nan")

    def thinned(self, step_s: float) -> "Readings":
        """Means of whole groups of readings, each about `step_s` long."""
        group = round(step_s / self.step_s)
        if group < 2:
            return self
        whole = self.t_s.size - self.t_s.size % group
        t_s, force = (c[:whole].reshape(-1, group).mean(axis=1) for c in (self.t_s, self.force))
        return Readings(t_s, force, self.noise / group**0.5, self.step_s * group)


def running_median(force: Floats, width: int) -> Floats:
    """Median over `width` (odd) neighbours, shape (n,); the ends repeat themselves."""
    half = width // 2
    padded = np.pad(force, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    median: Floats = np.median(windows, axis=1)
    return median


def noise_sd(force: Floats) -> float:
    """Standard deviation of one reading from third differences, slopes taken out.

    >>> noise_sd(np.arange(50.0))
    0.0
    """
    if force.size < 8:
        return 0.0
    # Third differences of white noise have a variance of 1 + 9 + 9 + 1.
    third = np.abs(np.diff(force, n=3)) / np.sqrt(20.0)
    return float(np.median(third) / 0.6745)


def clean(t_s: Floats, force: Floats) -> Readings:
    """Take out what is no force: lone readings far from all their neighbours."""
    noise = max(noise_sd(force), 1e-9)
    offset = np.abs(force - running_median(force, 5))
    # On a ramp the median of five lags by up to one reading's rise on either side.
    room = np.abs(running_median(np.gradient(force), 5))
    keep = offset <= 6.0 * noise + 1.5 * room
    t_kept = t_s[keep]
    return Readings(t_kept, force[keep], noise, float(np.median(np.diff(t_s))))


def averaged(
    readings: Readings, start_s: float, end_s: float, *, widest_s: float = WIDEST_S
) -> Bins:
    """Average the readings from `start_s` up to `end_s`, finely first, then coarser."""
    chosen = (readings.t_s >= start_s) & (readings.t_s < end_s)
    t_s, force = readings.t_s[chosen], readings.force[chosen]
    if not t_s.size:
        return Bins(t_s, force, t_s)
    edges = _edges(float(t_s[0]), end_s, readings.step_s, widest_s)
    index = np.searchsorted(edges, t_s + 1e-9, side="right") - 1
    number = np.bincount(index).astype(np.float64)
    used = number > 0
    mean_t = np.bincount(index, t_s)[used] / number[used]
    return Bins(mean_t, np.bincount(index, force)[used] / number[used], number[used])


def _edges(start_s: float, end_s: float, step_s: float, widest_s: float) -> Floats:
    """Borders of the averages: a law in lg t bends most where its stretch begins."""
    edges = [start_s]
    while edges[-1] < end_s:
        width_s = min(widest_s, FINEST_S + 0.06 * (edges[-1] - start_s))
        edges.append(edges[-1] + max(step_s * 0.999, width_s))
    return np.array(edges)
