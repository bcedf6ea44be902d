"""Single readings thrown off and back: a motor, a relay, a loose plug."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STANDS_OUT = 8.0
"""Standard deviations from both neighbours' level; noise does so never."""

_MAD = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class Spikes:
    """Readings that stand out alone.

    Attributes:
        n: How many.
        per_min: How often.
        largest: Greatest distance from the level, in the readings' unit.
        of_bits: How many of them are codes 2ᵏ − 1, as a data line that sticks high gives.
    """

    n: int
    per_min: float
    largest: float
    of_bits: int


def spikes_of(t_s: NDArray[np.float64], counts: NDArray[np.float64]) -> Spikes:
    """Count readings that stand out from both neighbours.

    Args:
        t_s: Times, rising, shape (n,).
        counts: Readings, shape (n,).
    """
    if len(counts) < 16:
        return Spikes(n=0, per_min=0.0, largest=0.0, of_bits=0)
    away, spread = away_of(counts)
    out = np.abs(away) > STANDS_OUT * spread
    minutes = max(float(t_s[-1] - t_s[0]), 1e-9) / 60.0
    codes = counts[2:-2][out].astype(np.int64)
    bits = (codes > 0) & ((codes & (codes + 1)) == 0)
    return Spikes(
        n=int(out.sum()),
        per_min=float(out.sum() / minutes),
        largest=float(np.abs(away[out]).max(initial=0.0)),
        of_bits=int(bits.sum()),
    )


def away_of(counts: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """How far each reading stands from the two on either side, and what is usual.

    Args:
        counts: Readings, shape (n,), n at least 5.

    Returns:
        Distances of all but the first and last two, shape (n - 4,), and their spread.
    """
    around = np.median(np.stack([counts[:-4], counts[1:-3], counts[3:-1], counts[4:]]), axis=0)
    away = counts[2:-2] - around
    return away, max(_MAD * float(np.median(np.abs(away))), 1.0)
