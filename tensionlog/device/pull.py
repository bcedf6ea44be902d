"""A pull by hand: does the bridge answer, and which way round?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ANSWERS = 12.0
"""A pull that moves the reading by fewer standard deviations than this moved nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the pull did to the reading.

    Attributes:
        state: `right`, `wrong-way` or `none`.
        moved: Reading under the pull minus the empty one, counts.
        sds: The same in standard deviations of one reading.
    """

    state: str
    moved: float
    sds: float


def answer_of(
    pulled: NDArray[np.float64], *, level: float, sd: float, counts_per_n: float | None
) -> Answer:
    """Tell what a pull by hand says.

    Args:
        pulled: Readings while somebody pulled for part of the time, shape (n,).
        level: Empty reading.
        sd: Standard deviation of one reading.
        counts_per_n: Calibration's slope, whose sign says which way is right; None: upwards.
    """
    moved = _moved(pulled - level)
    sds = abs(moved) / max(sd, 1.0)
    upwards = counts_per_n is None or counts_per_n > 0.0
    right = (moved > 0.0) == upwards
    state = "none" if sds < ANSWERS else "right" if right else "wrong-way"
    return Answer(state=state, moved=moved, sds=sds)


def _moved(away: NDArray[np.float64]) -> float:
    """The far tenth of the readings, on the side that goes further."""
    if len(away) == 0:
        return 0.0
    low, high = np.quantile(away, [0.1, 0.9])
    return float(high if abs(high) >= abs(low) else low)
