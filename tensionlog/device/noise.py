"""Noise and drift of the empty cell, told apart by blocks of about a second.

Inside a block a straight line takes out drift and most of the zero's wander, and the
median deviation does not mind a spike or a knock. What the blocks' levels do between
them is the wander and the drift.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

BLOCK_S = 1.0
LEAST_IN_BLOCK = 20
LEAST_BLOCKS = 5
_MAD = 1.4826
_FAR = 6.0
_LINE = 2  # parameters that a block's line takes away
_OF_MEDIANS = 1.65  # a median spread is that much less certain than a root mean square


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """How still the empty cell is, in counts.

    Attributes:
        level: Median reading.
        sd: Standard deviation of one reading inside a second.
        u_sd: Standard uncertainty of it.
        walk: Random walk of the zero, counts per root second; 0 where it cannot be told
            from the noise of the blocks.
        drift_per_h: Slope of the zero, counts an hour.
        u_drift_per_h: Its standard uncertainty, the walk's included.
        repeats: Share of readings equal to the one before.
        n: Readings it rests on.
        lasted_s: Device time it rests on.
    """

    level: float
    sd: float
    u_sd: float
    walk: float
    drift_per_h: float
    u_drift_per_h: float
    repeats: float
    n: int
    lasted_s: float


def noise_of(t_s: NDArray[np.float64], counts: NDArray[np.float64]) -> Noise | None:
    """Measure noise and drift; None where there is too little to tell.

    Args:
        t_s: Times, rising, shape (n,).
        counts: Readings of an unloaded cell, shape (n,).
    """
    blocks = _blocks(t_s, counts)
    if len(blocks) < LEAST_BLOCKS:
        return None
    at_s = np.array([t.mean() for t, _ in blocks])
    levels, sds = np.array([_level_and_sd(t, y) for t, y in blocks]).T
    sd, per_block = float(np.median(sds)), len(blocks[0][0])
    u_level = sd / sqrt(per_block)
    walk, most_walk = _walk(at_s, levels, u_level=u_level)
    away_s = at_s - at_s.mean()
    slope = float(np.polyfit(away_s, levels, 1)[0])
    lasted_s = float(at_s[-1] - at_s[0])
    u_white = u_level / sqrt(float(np.sum(away_s**2)))
    # A straight line through a random walk has a slope of variance (6/5)·w²/T.
    u_slope = sqrt(u_white**2 + 1.2 * most_walk**2 / lasted_s)
    return Noise(
        level=float(np.median(counts)),
        sd=sd,
        u_sd=sd * _OF_MEDIANS / sqrt(2.0 * per_block * len(blocks)),
        walk=walk,
        drift_per_h=slope * 3600.0,
        u_drift_per_h=u_slope * 3600.0,
        repeats=float(np.mean(np.diff(counts) == 0.0)),
        n=len(counts),
        lasted_s=lasted_s,
    )


def _blocks(
    t_s: NDArray[np.float64], counts: NDArray[np.float64]
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    if len(t_s) < 2 * LEAST_IN_BLOCK:
        return []
    per_s = (len(t_s) - 1) / max(float(t_s[-1] - t_s[0]), 1e-9)
    size = max(LEAST_IN_BLOCK, round(BLOCK_S * per_s))
    return [
        (t_s[i : i + size], counts[i : i + size]) for i in range(0, len(t_s) - size + 1, size)
    ]


def _level_and_sd(t_s: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Level and spread about a straight line, what stands far out left aside."""
    x = t_s - t_s.mean()
    away = np.abs(y - np.median(y))
    kept = away <= _FAR * _MAD * max(float(np.median(away)), 0.5)
    line = np.polyfit(x[kept], y[kept], 1)
    rest = y[kept] - np.polyval(line, x[kept])
    return float(line[1]), float(np.sqrt(np.sum(rest**2) / max(1, len(rest) - _LINE)))


def _walk(
    at_s: NDArray[np.float64], levels: NDArray[np.float64], *, u_level: float
) -> tuple[float, float]:
    """Random walk from the steps between blocks, the levels' own noise taken off.

    Means of neighbouring blocks of a walk differ by a variance of (2/3)·w²·(block length).

    Returns:
        The walk, 0 where it cannot be told, and what it may well be.
    """
    steps = np.diff(levels)
    squared = float(np.median(np.abs(steps)) * _MAD) ** 2
    excess = squared - 2.0 * u_level**2
    u_squared = squared * _OF_MEDIANS * sqrt(2.0 / len(steps))
    per_s = 1.5 / float(np.median(np.diff(at_s)))
    walk = sqrt(excess * per_s) if excess > 2.0 * u_squared else 0.0
    return walk, sqrt((max(excess, 0.0) + u_squared) * per_s)
