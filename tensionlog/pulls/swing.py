"""A weight on a bar: a damped swing, and what it leaves of a fall, as a converter shows it.

A swing is e^(s·x) with a complex rate s. An averaging box of width w turns it into itself
times (1 − e^(−s·w))/(s·w), so behind the converter's settling the smeared fall is exact;
the few tens of milliseconds before that come from a short table.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import STEP_S, smeared

Floats = NDArray[np.float64]


def swing_rows(x: Floats, omega: float, decay: float) -> tuple[Floats, Floats]:
    """Cosine and sine of a damped swing at `x` seconds, shape (n,) each."""
    moving = np.exp((1j * omega - decay) * x)
    return moving.real, moving.imag


def fallen_variants(x: Floats, variants: Floats, boxes_s: Sequence[float]) -> Floats:
    """What is left of a unit fall at `x` seconds after its beginning, as shown.

    Args:
        x: Seconds, ascending, shape (n,); 0 where negative.
        variants: Angular frequency, decay rate, duration of the fall and seconds by
            which it comes sooner, shape (k, 4).
        boxes_s: Averaging boxes of the converter, seconds.

    Returns:
        Shape (k, n).
    """
    omega, decay, fall_s, sooner_s = variants.T
    rate = 1j * omega - decay
    factor = (1.0 - 1j * decay / omega) * np.exp(rate * sooner_s)
    for width in (fall_s, *boxes_s):
        factor = factor * (1.0 - np.exp(-rate * width)) / (rate * width)
    whole = float(fall_s.max()) + sum(boxes_s) + 2.0 * STEP_S
    result = np.zeros((len(variants), len(x)))
    # The table holds from a little before the beginning to a little after it is smeared.
    first, last = np.searchsorted(x, [-0.1, whole + 0.1])
    # Most variants share a swing: each is worked out once.
    swings = {s: np.exp(s * x[first:]) for s in rate.tolist()}
    for shown, share, s in zip(result, factor.tolist(), rate.tolist(), strict=True):
        shown[first:] = share.real * swings[s].real - share.imag * swings[s].imag
    at = x[first:last] + sooner_s[:, None]
    tables, row = _tables(variants[:, :3], whole, boxes_s)
    near = result[:, first:last]
    near[:] = np.where(at < whole, _between(tables, row, at), near)
    return result


def _tables(
    kinds: Floats, whole: float, boxes_s: Sequence[float]
) -> tuple[Floats, NDArray[np.int64]]:
    """One table for each kind of fall, as shown, and which of them is whose."""
    keys = [tuple(kind) for kind in kinds.tolist()]
    unique = list(dict.fromkeys(keys))
    omega, decay, fall_s = np.array(unique).T[..., None]
    early = np.arange(0.0, whole + 3.0 * STEP_S, STEP_S)
    start = _from(early, omega=omega, decay=decay, fall_s=fall_s)
    return smeared(start, boxes_s), np.array([[unique.index(key)] for key in keys])


def _between(tables: Floats, row: NDArray[np.int64], elapsed: Floats) -> Floats:
    """Interpolate row by row; 0 before the beginning, the last entry beyond the end."""
    place = np.clip(elapsed / STEP_S, 0.0, tables.shape[1] - 1.0)
    before = np.minimum(place.astype(np.int64), tables.shape[1] - 2)
    low = tables[row, before]
    found: Floats = low + (place - before) * (tables[row, before + 1] - low)
    return np.where(elapsed < 0.0, 0.0, found)


def _from(x: Floats, *, omega: Floats, decay: Floats, fall_s: Floats) -> Floats:
    """Falls that take `fall_s`, before the converter: from 0 on, shape (k, m)."""
    rate = 1j * omega - decay
    share = 1.0 - 1j * decay / omega
    # The integral of the swing from its beginning, over the fall's duration.
    begun = np.exp(rate * x)
    ended = np.exp(rate * np.maximum(x - fall_s, 0.0))
    result: Floats = (share * (begun - ended) / (rate * fall_s)).real
    return result
