"""Readings made fit for measuring: knocks out, noise known, short spans averaged."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

BIN_S = 0.1
"""Width over which readings are averaged: within it the law is as good as straight."""

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


def averaged(readings: Readings, start_s: float, end_s: float) -> Bins:
    """Average the readings from `start_s` up to `end_s` over `BIN_S` each."""
    chosen = (readings.t_s >= start_s) & (readings.t_s < end_s)
    t_s, force = readings.t_s[chosen], readings.force[chosen]
    if not t_s.size:
        return Bins(t_s, force, t_s)
    width = max(BIN_S, readings.step_s * 0.999)
    index = np.floor((t_s - start_s) / width).astype(np.intp)
    count = np.bincount(index).astype(np.float64)
    used = count > 0
    mean_t = np.bincount(index, t_s)[used] / count[used]
    return Bins(mean_t, np.bincount(index, force)[used] / count[used], count[used])
