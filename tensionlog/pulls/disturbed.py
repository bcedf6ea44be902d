"""Which samples of a hold somebody's hand is in: pushes and plucks that come back.

What stands above (or below) the reading on both sides of it comes back, and so is no
step and no relaxation: a cross that is pushed straight, a string that is plucked to be
heard. A release goes down and stays; it is not touched.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

REACH_S = 0.7
"""A push or a pluck is over within this time."""

MARGIN_S = 0.04
"""Left out beside it, for the converter and for what is too small to see."""


def comes_back(y: Floats, *, period: float, threshold: float) -> Mask:
    """Samples that stand above what is reached again on both sides, shape (n,).

    Args:
        y: Readings of a hold, shape (n,).
        period: Time between samples, seconds.
        threshold: How far above counts.
    """
    reach = max(3, round(REACH_S / period))
    before = _running_min(y, reach)
    after = _running_min(y[::-1], reach)[::-1]
    return np.asarray(y - np.maximum(before, after) > threshold)


def hands_on(y: Floats, *, period: float, noise: float, level: float) -> Mask:
    """Samples of a locked hold that a hand is in, a margin included, shape (n,)."""
    threshold = max(7.0 * noise, 0.0015 * level)
    margin = max(1, round(MARGIN_S / period))
    up = widened(comes_back(y, period=period, threshold=threshold), margin)
    # Between two pushes the reading is not low: look for dips with the pushes out.
    down = comes_back(-bridged(y, up), period=period, threshold=threshold)
    return up | widened(down, margin)


def widened(mask: Mask, by: int) -> Mask:
    """The mask with `by` more samples on both sides of each run."""
    if not mask.any():
        return mask
    return np.asarray(np.convolve(mask, np.ones(2 * by + 1), "same") > 0.5)


def runs_of(mask: Mask) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def bridged(y: Floats, mask: Mask) -> Floats:
    """The readings with masked runs replaced by a straight line across."""
    if not mask.any() or mask.all():
        return y
    index = np.arange(len(y))
    result: Floats = np.where(mask, np.interp(index, index[~mask], y[~mask]), y)
    return result


def _running_min(y: Floats, reach: int) -> Floats:
    """Least of the last `reach` samples and this one, by doubling windows."""
    out = y.copy()
    covered = 1
    while covered <= reach:
        step = min(covered, reach + 1 - covered)
        out[step:] = np.minimum(out[step:], out[:-step])
        covered += step
    return out
