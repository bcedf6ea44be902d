"""Medians and quantiles of a few hundred readings, to the last bit those of numpy.

`np.median` and `np.quantile` look for missing values, masks and axes first, which takes
five times as long as the sorting. Readings of a stretch have none of these.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def median(y: Floats) -> float:
    """Median of `y`, shape (n,), at least one, none of them NaN."""
    half, is_odd = divmod(len(y), 2)
    if is_odd:
        return float(np.partition(y, half)[half])
    part = np.partition(y, (half - 1, half))
    return float((part[half - 1] + part[half]) / 2.0)


def quantile(y: Floats, share: float) -> float:
    """Quantile of `y` as numpy's own rule has it, between the two readings next to it."""
    place = share * (len(y) - 1)
    before = int(place)
    if before >= len(y) - 1:
        return float(y.max())
    part = np.partition(y, (before, before + 1))
    low, high = float(part[before]), float(part[before + 1])
    into = place - before
    step = high - low
    return high - step * (1.0 - into) if into >= 0.5 else low + step * into


def median_of_three(y: Floats) -> Floats:
    """Running median over one sample on both sides, shape (n - 2,)."""
    before, here, after = y[:-2], y[1:-1], y[2:]
    low, high = np.minimum(before, here), np.maximum(before, here)
    return np.maximum(low, np.minimum(high, after))


def median_of_four(y: Floats) -> Floats:
    """Running median over four samples, shape (n - 3,)."""
    a, b, c, d = y[:-3], y[1:-2], y[2:-1], y[3:]
    inner_low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    inner_high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return (inner_low + inner_high) / 2.0


def median_of_nine(y: Floats) -> Floats:
    """Running median over four samples on both sides, shape (n - 8,)."""
    rows = [y[i : len(y) - 8 + i] for i in range(9)]
    for a, b in _NINE:
        rows[a], rows[b] = np.minimum(rows[a], rows[b]), np.maximum(rows[a], rows[b])
    return rows[4]


# Exchanges after which the fifth of nine is the median: Paeth, Graphics Gems, 1990, in the
# order that N. Devillard gave them (Fast median search, 1998).
_NINE = (
    (1, 2), (4, 5), (7, 8), (0, 1), (3, 4), (6, 7), (1, 2), (4, 5), (7, 8), (0, 3),
    (5, 8), (4, 7), (3, 6), (1, 4), (2, 5), (4, 7), (4, 2), (6, 4), (4, 2),
)  # fmt: skip
