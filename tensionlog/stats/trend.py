"""Slow trends: Theil-Sen with its interval, and when a limit will be reached."""

from dataclasses import dataclass
from math import inf
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.errors import CalibrationError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A slope that a third of the points may lie about without bending it.

    Attributes:
        slope: Median of the slopes between all pairs of points.
        slope_low: Lower end of its interval.
        slope_high: Upper end of its interval.
        middle_t: Median time; the line goes through (`middle_t`, `middle_y`).
        middle_y: Level there.
        u_middle: Standard uncertainty of that level.
        confidence: Of the interval.
        n: Points it rests on.
    """

    slope: float
    slope_low: float
    slope_high: float
    middle_t: float
    middle_y: float
    u_middle: float
    confidence: float
    n: int

    def at(self, t: float) -> float:
        """The trend's level at a time."""
        return self.middle_y + self.slope * (t - self.middle_t)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeUntil:
    """When a trend reaches a limit; infinite where it never does.

    Attributes:
        t: Best estimate.
        earliest: Soonest end of the interval.
        latest: Latest end of the interval.
    """

    t: float
    earliest: float
    latest: float


def theil_sen(t: ArrayLike, y: ArrayLike, *, confidence: float = 0.95) -> Trend:
    """Theil-Sen slope with Kendall's interval.

    Args:
        t: Times, shape (n,).
        y: Levels, shape (n,).
        confidence: Of the interval of the slope.

    Raises:
        CalibrationError: Fewer than three points, or all at one time.
    """
    t_, y_ = np.asarray(t, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if t_.ndim != 1 or t_.shape != y_.shape:
        raise ValueError(f"t and y must have one shape (n,), not {t_.shape} and {y_.shape}")
    if len(np.unique(t_)) < 3:
        raise CalibrationError(
            f"a trend needs readings at 3 different times, not {len(np.unique(t_))}. "
            "Wait for more."
        )
    slope, low, high = _pairwise_slopes(t_, y_, confidence)
    middle = float(np.median(t_))
    level = y_ - slope * (t_ - middle)
    spread = 1.4826 * float(np.median(np.abs(level - np.median(level))))
    return Trend(
        slope=slope,
        slope_low=low,
        slope_high=high,
        middle_t=middle,
        middle_y=float(np.median(level)),
        u_middle=1.2533 * spread / np.sqrt(len(t_)),
        confidence=confidence,
        n=len(t_),
    )


def _pairwise_slopes(t: Floats, y: Floats, confidence: float) -> tuple[float, float, float]:
    """Median of the slopes between all pairs, and Kendall's interval of it (Sen 1968).

    The same to the last digit as scipy.stats.theilslopes, whose import alone costs more
    time than everything else that a status needs.
    """
    rise, way = y[:, None] - y, t[:, None] - t
    slopes = np.sort(rise[way > 0] / way[way > 0])
    n = len(y)
    untied = n * (n - 1) * (2 * n + 5)
    variance = max(0.0, untied - _ties(t) - _ties(y)) / 18.0  # many ties leave none
    reach = NormalDist().inv_cdf(0.5 + confidence / 2) * np.sqrt(variance)
    below = max(int(np.round((len(slopes) - reach) / 2.0)) - 1, 0)
    above = min(int(np.round((len(slopes) + reach) / 2.0)), len(slopes) - 1)
    return float(np.median(slopes)), float(slopes[below]), float(slopes[above])


def _ties(values: Floats) -> float:
    """What equal values take from the variance of Kendall's statistic, times 18."""
    _, counts = np.unique(values, return_counts=True)
    return float(np.sum(counts * (counts - 1) * (2 * counts + 5)))


def time_until(trend: Trend, *, limit: float) -> TimeUntil:
    """When a trend will have reached `limit`, counted on the trend's own time axis.

    Args:
        trend: From `theil_sen`.
        limit: The level that must not be passed.
    """
    reach = NormalDist().inv_cdf(0.5 + trend.confidence / 2) * trend.u_middle
    way = limit - trend.middle_y
    toward = 1.0 if way >= 0 else -1.0
    slopes = sorted(toward * s for s in (trend.slope_low, trend.slope_high))
    left = abs(way)
    return TimeUntil(
        t=trend.middle_t + _wait(left, toward * trend.slope),
        earliest=trend.middle_t + _wait(max(0.0, left - reach), slopes[1]),
        latest=trend.middle_t + _wait(left + reach, slopes[0]),
    )


def _wait(left: float, slope: float) -> float:
    """How long `left` lasts at `slope`."""
    if left <= 0:
        return 0.0
    return left / slope if slope > 0 else inf
