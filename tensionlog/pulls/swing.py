"""A weight on a bar: a damped swing, and what it leaves of a fall, as a converter shows it.

A swing is e^(s·x) with a complex rate s. An averaging box of width w turns it into itself
times (1 − e^(−s·w))/(s·w), so behind the converter's settling the smeared fall is exact;
the few tens of milliseconds before that come from a short table.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import STEP_S, look_up, smeared

Floats = NDArray[np.float64]


def swing_columns(x: Floats, omega: float, decay: float) -> Floats:
    """Cosine and sine of a damped swing at `x` seconds, shape (n, 2)."""
    moving = np.exp((1j * omega - decay) * x)
    return np.column_stack([moving.real, moving.imag])


def fallen_variants(x: Floats, variants: Floats, boxes_s: Sequence[float]) -> Floats:
    """What is left of a unit fall at `x` seconds after its beginning, as shown.

    Args:
        x: Seconds, shape (n,); 0 where negative.
        variants: Angular frequency, decay rate, duration of the fall and seconds by
            which it comes sooner, shape (k, 4).
        boxes_s: Averaging boxes of the converter, seconds.

    Returns:
        Shape (k, n).
    """
    omega, decay, fall_s, sooner_s = variants.T
    rate = 1j * omega - decay
    share = 1.0 - 1j * decay / omega
    elapsed = x + sooner_s[:, None]
    whole = float(fall_s.max()) + sum(boxes_s) + 2.0 * STEP_S
    early = np.arange(0.0, whole + 3.0 * STEP_S, STEP_S)
    start = np.vstack(
        [
            _from(early, omega=w, decay=a, fall_s=f)
            for w, a, f in zip(omega, decay, fall_s, strict=True)
        ]
    )
    start = smeared(start, boxes_s)
    factor = share
    for width in (fall_s, *boxes_s):
        factor = factor * (1.0 - np.exp(-rate * width)) / (rate * width)
    result: Floats = (factor[:, None] * np.exp(rate[:, None] * np.maximum(elapsed, 0.0))).real
    near = np.flatnonzero((x < whole + 0.1) & (x > -0.1))
    result[:, x <= -0.1] = 0.0
    for row, table in zip(range(len(variants)), start, strict=True):
        at = elapsed[row, near]
        result[row, near] = np.where(at < whole, look_up(table, at), result[row, near])
    return result


def _from(x: Floats, *, omega: float, decay: float, fall_s: float) -> Floats:
    """A fall that takes `fall_s`, before the converter: from 0 on, shape (m,)."""
    rate = 1j * omega - decay
    share = 1.0 - 1j * decay / omega
    # The integral of the swing from its beginning, over the fall's duration.
    begun = np.exp(rate * x)
    ended = np.exp(rate * np.maximum(x - fall_s, 0.0))
    result: Floats = (share * (begun - ended) / (rate * fall_s)).real
    return result
