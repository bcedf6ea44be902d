"""The plain law of a held string through readings: level and loss per decade."""

from typing import NamedTuple

import numpy as np

from tensionlog.clamps.law import decades
from tensionlog.clamps.trace import Floats

TAU_S = 0.2
"""Origin of the relaxation where a test does not ask for it, 0.1–0.3 s."""


class HeldLaw(NamedTuple):
    """Level and loss per decade.

    Attributes:
        level: Force at age 0.
        slope: Change per decade; never above 0.
    """

    level: float
    slope: float

    def __call__(self, ages_s: Floats) -> Floats:
        """Force at each age."""
        return self.level + self.slope * decades(ages_s, TAU_S)


def held_law(ages_s: Floats, force: Floats) -> HeldLaw:
    """Lay the law through readings; a rise, or a short stretch, is no relaxation."""
    grown = decades(ages_s, TAU_S)
    if ages_s.size < 10 or np.ptp(grown) < 0.05:
        return HeldLaw(float(np.median(force)), 0.0)
    slope, level = np.polyfit(grown, force, 1)
    if slope > 0.0:
        return HeldLaw(float(np.median(force)), 0.0)
    return HeldLaw(float(level), float(slope))
