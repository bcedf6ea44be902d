"""What an operator must be told at once: the disk does not keep up, the rate is another.

Whether a sitting is safe is asked of the recorder's count of durable bytes, never taken
from the fact that something still runs.
"""

from typing import NamedTuple

from tensionlog.recorder import RecorderState

SAFE_WITHIN_S = 2.0
"""What is not on the disk by then is told; it should be there in a quarter second."""

OFF_RATE = 0.2
"""Share by which a device's rate may differ from the stated one without a word: 80/s is
92 on many boards, which harms nothing since times come from the device's clock."""

LOOSE_WIRE_RATE = 1.5
"""Beyond this the converter is not converting: its data line is not wired or floats."""

TELLS_RATE_AFTER = 160
"""Samples after which the rate is known well enough to speak of it."""


class Unsafe(NamedTuple):
    """What came is not on the disk; memory keeps it."""

    for_s: float
    why: str
    lost_bytes: int


class Safe(NamedTuple):
    """The disk has everything again; `into` is the file that is written now."""

    into: str


class OffRate(NamedTuple):
    """The device samples at another rate than the set-up states."""

    rate_hz: float
    stated_hz: float

    @property
    def is_wiring(self) -> bool:
        """Whether it is faster than any converter set to that rate."""
        return self.rate_hz > LOOSE_WIRE_RATE * self.stated_hz


Trouble = Unsafe | Safe | OffRate


class Troubles:
    """Tells each trouble once as it begins, and its end."""

    def __init__(self) -> None:
        self._told: tuple[str, int] | None = None
        self._told_rate = False

    def of_disk(self, state: RecorderState) -> list[Trouble]:
        """News about the disk."""
        is_safe = state.is_writing and state.unsafe_s <= SAFE_WITHIN_S
        if is_safe and self._told is not None:
            self._told = None
            return [Safe(str(state.path))]
        why = state.trouble if not state.is_writing else None
        told = (why or "the disk is slow", state.lost_bytes)
        if is_safe or self._told == told:
            return []
        self._told = told
        return [Unsafe(state.unsafe_s, *told)]

    def of_rate(
        self, *, samples: int, rate_hz: float | None, stated_hz: float | None
    ) -> list[Trouble]:
        """News about the rate, once."""
        if self._told_rate or samples < TELLS_RATE_AFTER:
            return []
        self._told_rate = True
        off = off_rate(rate_hz=rate_hz, stated_hz=stated_hz)
        return [] if off is None else [off]


def off_rate(*, rate_hz: float | None, stated_hz: float | None) -> OffRate | None:
    """What is to be said of a rate, or None where it is as stated or not known."""
    if not rate_hz or not stated_hz or abs(rate_hz / stated_hz - 1.0) <= OFF_RATE:
        return None
    return OffRate(rate_hz, stated_hz)
