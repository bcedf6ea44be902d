"""What a timeline gives out, in the order of the recording.

Times are device seconds since the first sample of their boot; what happened before that
sample has a negative time.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Reading(NamedTuple):
    """One sound sample in its place.

    Attributes:
        boot: Which start of the device, from 0.
        t_s: Device time since that boot's first sample, in seconds.
        counts: Raw reading; in the plain dialect the value, in newtons where a unit is known.
    """

    boot: int
    t_s: float
    counts: float


class Readings(NamedTuple):
    """Many readings of one boot, in order: what `Reading` says of one.

    Attributes:
        boot: Which start of the device, from 0.
        t_s: Device times, shape (n,).
        counts: Raw readings, shape (n,).
    """

    boot: int
    t_s: NDArray[np.float64]
    counts: NDArray[np.int64]


class Gap(NamedTuple):
    """Conversions that the device counted and that never arrived sound.

    Attributes:
        boot: Which start of the device.
        after_s: Device time of the last sample before the gap.
        before_s: Device time of the first sample after it.
        missing: How many conversions lie between.
    """

    boot: int
    after_s: float
    before_s: float
    missing: int


class Restart(NamedTuple):
    """The device started again; `boot` is the number of the new start."""

    boot: int


class Marked(NamedTuple):
    """A button or a lever switch was worked; `name` says which (`redo`, `shut-A`, …)."""

    boot: int
    t_s: float
    name: str


class FaultSeen(NamedTuple):
    """A fault: the device's own (`not-ready`, …), a `saturated` code, or a clock's jump."""

    boot: int
    t_s: float
    name: str


TimelineEvent = Reading | Readings | Gap | Restart | Marked | FaultSeen
"""Anything a timeline gives out."""
