"""Samples of a hold that a hand has moved: pushes that straighten, plucks."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace
from tensionlog.pulls.disturbed import comes_back

PUSH_TEETH = 1.2
"""What stands so many teeth above the reading on both sides is a hand's doing."""

PUSH_FLANK_S = 0.12
"""How far a push reaches beyond where it stands out."""

PLUCK_S = 0.3
"""How long a plucked string rings on."""

PLUCK_SAMPLES = 4
"""So many samples within 0.15 s turn back in a pluck; a fall turns once or twice."""


def disturbed(trace: Trace, *, tooth: float) -> NDArray[np.bool_]:
    """Which samples to leave out of a motor's hold, shape (n,).

    Args:
        trace: The settled hold.
        tooth: Height of the motor's saw-tooth, which no reading exceeds by itself.
    """
    # The lowest and the highest of a hundred noisy readings lie six deviations apart.
    threshold = PUSH_TEETH * tooth + 6.0 * trace.noise
    pushed = comes_back(trace.y, period=trace.period, threshold=threshold)
    return _around(trace.t, pushed, PUSH_FLANK_S, PUSH_FLANK_S) | plucked(trace)


def plucked(trace: Trace) -> NDArray[np.bool_]:
    """Samples of a string that rings, shape (n,)."""
    y = trace.y
    bent = np.zeros(len(y), dtype=bool)
    if len(y) < 12:
        return bent
    bend = y[1:-1] - 0.5 * (y[:-2] + y[2:])
    large = np.abs(bend) > 6.0 * trace.noise
    # A string that rings bends to and fro; the corners of a fall bend one way for a while.
    bent[2:-1] = large[1:] & large[:-1] & (bend[1:] * bend[:-1] < 0.0)
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
