"""One sitting: its header, the calibration in force, what the host wrote into it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

PURPOSES = ("job", "check", "hold", "free")
HEADS = ("lockout", "constant-pull", "drop-weight")


@dataclass(frozen=True, slots=True)
class Calibration:
    """Counts to newtons by a polynomial.

    Attributes:
        coefficients: Rising powers of counts, at least (offset, slope).
        name: What the bench calls it; empty where the recording does not say.
        date: When it was made (ISO date), or None where nobody said.
    """

    coefficients: tuple[float, ...]
    name: str = ""
    date: str | None = None

    def force_n(self, counts: ArrayLike) -> NDArray[np.float64]:
        """Force in newtons at `counts` (any shape), zero as the calibration has it."""
        x = np.asarray(counts, dtype=np.float64)
        total = np.zeros_like(x)
        for coefficient in reversed(self.coefficients):
            total = total * x + coefficient
        return total

    def newtons_per_count(self, counts: float) -> float:
        """Slope at `counts`, in newtons per count; its sign is the wiring's."""
        return sum(
            power * c * counts ** (power - 1)
            for power, c in enumerate(self.coefficients)
            if power
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The JSON line that opens a recording.

    Attributes:
        bench: Name of the bench; with `started` it identifies the recording.
        purpose: One of `PURPOSES`.
        started: UTC time at which the recording was opened.
        rate_hz: Nominal sample rate, or None.
        adc_bits: Width of the converter, or None.
        calibration: In force for this sitting, or None.
        head: One of `HEADS`, or None where the recording does not say.
        tail_m: Length of string from frame to gripper, or None.
        pattern: Regular expression of the plain dialect, or None for the pinned wire.
        unit: Unit of the plain dialect's values, or None.
        continues: File that this one goes on from after a write error, or None.
        raw: The whole header as it stands in the file, unknown keys too.
    """

    bench: str
    purpose: str
    started: datetime
    rate_hz: float | None = None
    adc_bits: int | None = None
    calibration: Calibration | None = None
    head: str | None = None
    tail_m: float | None = None
    pattern: str | None = None
    unit: str | None = None
    continues: str | None = None
    raw: Mapping[str, Any] = field(default_factory=dict)

    @property
    def is_plain(self) -> bool:
        """Whether the device spoke another sketch's plain lines."""
        return self.pattern is not None


class Arrival(NamedTuple):
    """Host time (UTC, seconds since 1970) at which the bytes that follow were read."""

    at_s: float


class Chunks(NamedTuple):
    """What several reads of the port gave, in one piece.

    Attributes:
        data: Bytes of the device, as they came.
        begins: Where in `data` each read begins, rising; what stands before the first
            belongs to a read told of earlier.
        at_s: Host time of each of these reads (UTC, seconds since 1970).
    """

    data: bytes
    begins: list[int]
    at_s: list[float]

    def apart(self) -> Iterator[Arrival | bytes]:
        """Each arrival and the bytes that follow it, one after the other."""
        first = self.begins[0] if self.begins else len(self.data)
        if first:
            yield self.data[:first]
        ends = [*self.begins[1:], len(self.data)]
        for begin, end, at_s in zip(self.begins, ends, self.at_s, strict=False):
            yield Arrival(at_s)
            if begin < end:
                yield self.data[begin:end]


class Note(NamedTuple):
    """What the operator said, or the host on their behalf.

    Attributes:
        at_s: Host time (UTC, seconds since 1970) at which it acts.
        name: The `note` key; unknown names are kept and ignored.
        body: The whole JSON object.
    """

    at_s: float
    name: str
    body: Mapping[str, Any]
