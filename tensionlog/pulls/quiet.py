"""Samples of a hold that a hand has moved: pushes that straighten, plucks."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace

PUSH_SHARE = 0.008
"""A motor keeps its reading within about this share above the middle of its band."""

PUSH_FLANK_S = 0.12
"""How far a push reaches beyond where it stands out."""

PLUCK_S = 0.3
"""How long a plucked string rings on."""

PLUCK_SAMPLES = 6
"""So many samples of a tenth of a second stand out from their neighbours in a pluck;
the corners of a fall are four at most."""


def disturbed(trace: Trace, *, level: float) -> NDArray[np.bool_]:
    """Which samples to leave out of a motor's hold, shape (n,)."""
    pushed = trace.y > level + max(5.0 * trace.noise, PUSH_SHARE * level)
    if len(pushed) > 3:
        pushed &= np.convolve(pushed, np.ones(3), "same") >= 2.0
    return _around(trace.t, pushed, PUSH_FLANK_S, PUSH_FLANK_S) | plucked(trace)


def plucked(trace: Trace) -> NDArray[np.bool_]:
    """Samples of a string that rings, shape (n,)."""
    y = trace.y
    bent = np.zeros(len(y), dtype=bool)
    if len(y) < 12:
        return bent
    bent[1:-1] = np.abs(y[1:-1] - 0.5 * (y[:-2] + y[2:])) > 6.0 * trace.noise
    width = min(len(y), max(8, round(0.15 / trace.period)))
    rings = np.convolve(bent, np.ones(width), "same") >= PLUCK_SAMPLES
    return _around(trace.t, rings & bent, 0.1, PLUCK_S)


def _around(
    t: NDArray[np.float64], marked: NDArray[np.bool_], before_s: float, after_s: float
) -> NDArray[np.bool_]:
    """The marked samples and what lies around them."""
    result = np.zeros(len(t), dtype=np.int64)
    at = np.flatnonzero(marked)
    if not len(at):
        return marked
    np.add.at(result, np.searchsorted(t, t[at] - before_s), 1)
    ends = np.searchsorted(t, t[at] + after_s, "right")
    np.add.at(result, ends[ends < len(t)], -1)
    return np.cumsum(result) > 0
