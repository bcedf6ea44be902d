"""A rough scale for a sitting without a calibration: enough to tell a pull from noise."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.noise import white_noise

LOOK_S = 3.0
"""Readings looked at before a guess is made."""

NEWTONS_PER_NOISE = 0.06
"""What one deviation of the noise usually comes to on a bench cell, newtons: thresholds
of 8 and 12 N then lie some hundred deviations above the empty reading. The guess only
decides when the cell counts as loaded; what is a pull is decided among the stretches."""


def guess_scale(counts: NDArray[np.float64], *, rate_hz: float, force: bool) -> float | None:
    """Newtons per count, positive; None where more readings are needed.

    Args:
        counts: Readings so far, shape (n,).
        rate_hz: Sample rate.
        force: Guess from what there is: no more is to come.
    """
    if len(counts) < max(10, round(LOOK_S * rate_hz)) and not force:
        return None
    noise = max(white_noise(counts), 0.5)
    return NEWTONS_PER_NOISE / noise
