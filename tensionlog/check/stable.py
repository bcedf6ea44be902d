"""Recognise a stable reading as it comes in, by the rule that a recording is read with.

Nothing is timed: after every half second the samples so far go through `settled_level`,
and the load is captured as soon as its level is known well enough. Two things only a
live check needs: the old load must first have gone (it is stable too), and a level far
from what was named may be a hand that carries part of the mass, so it must last longer.
"""

from typing import Final, NamedTuple

import numpy as np

from tensionlog.check.cleaning import Floats, clean, noise_sd
from tensionlog.check.settling import LONGEST_S, Level, settled_level
from tensionlog.check.verdict import Tolerance
from tensionlog.check.visits import (
    SWING_OF_LOAD,
    U_OF_TOLERANCE,
    is_stable,
    noise_of,
)

EVERY_S: Final = 0.5
NEAR: Final = 0.03
"""A level within this share of the named load is taken at once."""

ODD_LASTS_S: Final = 5.0
"""A level further off must have lasted this long: no hand keeps that still."""

AT_ONCE: Final = 0.06
"""A level known to this share of the tolerance is taken at once: waiting longer would gain
less than the walk of zero costs meanwhile."""

MOVES_S: Final = 1.0
MOVES_BEYOND: Final = 4.0
"""Noise alone spreads a second of readings by less than this many standard deviations."""

PATIENCE_S: Final = 10.0
"""A window this long is taken as soon as a recording's would be."""


class Captured(NamedTuple):
    """A load that came to rest.

    Attributes:
        level: What was read.
        waited_s: From the first sample pushed to the capture.
    """

    level: Level
    waited_s: float


class StableReading:
    """Wait for one load to come to rest.

    Attributes:
        state: `waiting` for the load to change, `settling`, or `captured`.
    """

    __slots__ = (
        "_before_n",
        "_has_left",
        "_load_n",
        "_looked_s",
        "_readings",
        "_t_s",
        "_tolerance",
        "state",
    )

    def __init__(
        self,
        *,
        load_n: float,
        before_n: float | None = None,
        zero_n: float = 0.0,
        tolerance: Tolerance | None = None,
        has_left: bool = False,
    ) -> None:
        """Begin to wait.

        Args:
            load_n: Force that is about to hang on the cell, newtons; 0 for empty.
            before_n: Level captured before, newtons; None where the cell may be at rest
                already (the first zero).
            zero_n: Level of the empty cell, newtons.
            tolerance: What a stable level is measured against.
            has_left: Whether it is known that the load before has gone.
        """
        self._has_left = has_left
        self.state = "settling" if before_n is None else "waiting"
        self._load_n = load_n + zero_n
        self._before_n = before_n
        self._tolerance = (tolerance or Tolerance()).at_n(load_n)
        self._t_s: list[float] = []
        self._readings: list[float] = []
        self._looked_s = -np.inf

    def push(self, t_s: float, reading_n: float) -> Captured | None:
        """Add one sample; return the capture once, when it comes.

        Args:
            t_s: Device time, seconds, rising.
            reading_n: The reading by the calibration in force, newtons.
        """
        if self.state == "captured":
            return None
        self._t_s.append(t_s)
        self._readings.append(reading_n)
        if t_s - self._looked_s < EVERY_S:
            return None
        self._looked_s = t_s
        return self._look()

    def _look(self) -> Captured | None:
        begun_s, now_s = self._t_s[0], self._t_s[-1]
        t, readings = np.array(self._t_s), np.array(self._readings)
        if self._is_moved(t, readings):
            return None
        recent = t > now_s - LONGEST_S - ODD_LASTS_S
        samples = clean(t_s=t[recent], counts=readings[recent], adc_bits=None)
        level = settled_level(
            t_s=samples.t_s, reading=samples.reading, noise=noise_of(samples, 0.0)
        )
        if level is None or not self._is_new(level) or not self._is_taken(level, now_s):
            return None
        self.state = "captured"
        return Captured(level, now_s - begun_s)

    def _is_moved(self, t_s: Floats, readings: Floats) -> bool:
        """Whether the last second moved more than any swing that is read: no fit needed."""
        last = readings[t_s > t_s[-1] - MOVES_S]
        low, high = np.quantile(last, [0.1, 0.9])
        allowed = SWING_OF_LOAD * abs(self._load_n) + self._tolerance
        return bool(high - low > 2 * allowed + MOVES_BEYOND * noise_sd(readings[-200:]))

    def _is_new(self, level: Level) -> bool:
        """Whether the level is no longer that of the load before."""
        if self._before_n is None or self._has_left:
            self.state = "settling"
            return True
        change = self._load_n - self._before_n
        gone = (level.level - self._before_n) * np.sign(change) > abs(change) / 2
        if gone:
            self.state = "settling"
        return bool(gone) or abs(change) < self._tolerance

    def _is_taken(self, level: Level, now_s: float) -> bool:
        """Whether the level is stable, runs up to now, and has lasted long enough."""
        load_n, lasted_s = self._load_n, level.end_s - level.start_s
        share = U_OF_TOLERANCE if lasted_s >= PATIENCE_S else AT_ONCE
        # where zero is nobody knows before the first; every other load is expected
        near = self._before_n is None or (
            abs(level.level - load_n) <= NEAR * abs(load_n) + self._tolerance
        )
        return (
            is_stable(level, tolerance_n=self._tolerance, load_n=load_n, share=share)
            and now_s - level.end_s <= EVERY_S
            and (near or lasted_s >= ODD_LASTS_S)
        )
