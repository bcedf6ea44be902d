"""What the device may say, one record per line of the wire."""

from typing import NamedTuple


class Sample(NamedTuple):
    """One conversion of the bridge ADC, raw.

    Attributes:
        seq: Conversion number, 0…65535, wraps.
        t_us: Device clock in microseconds, 0…2³²−1, wraps.
        counts: Signed reading of the converter.
    """

    seq: int
    t_us: int
    counts: int


class Hello(NamedTuple):
    """Who the device is: sent at boot and in answer to `?`.

    Attributes:
        proto: Version of the wire; this package speaks 1.
        device: The device's own unique id.
        firmware: Free text that names the firmware.
        rate_hz: Nominal conversions per second.
        adc_bits: Width of the converter, sign included.
        boot: Changes at every start of the device.
    """

    proto: int
    device: str
    firmware: str
    rate_hz: float
    adc_bits: int
    boot: str


class Event(NamedTuple):
    """A button or a lever switch was worked; `seq` is that of the latest sample."""

    seq: int
    t_us: int
    name: str


class Fault(NamedTuple):
    """The device noticed a fault of its own; `seq` is that of the latest sample."""

    seq: int
    t_us: int
    fault: str


class Comment(NamedTuple):
    """Free text: logged, never parsed."""

    text: str


class UnknownLine(NamedTuple):
    """A sound line (its CRC holds) of a kind this version does not know."""

    raw: bytes


class BadLine(NamedTuple):
    """A line that is not sound: kept, counted, never a sample.

    Attributes:
        raw: The bytes of the line without its LF.
        why: `crc`, `form` or `too-long`.
    """

    raw: bytes
    why: str


class PlainReading(NamedTuple):
    """One reading of another sketch's plain line.

    Attributes:
        value: The number, in the line's own unit.
        unit: Unit written in the line, or None where the header's holds.
        t_ms: The sketch's own clock in milliseconds, or None.
    """

    value: float
    unit: str | None
    t_ms: float | None


DeviceLine = Sample | Hello | Event | Fault | Comment | UnknownLine | BadLine | PlainReading
"""Anything that one line of the device can turn out to be."""
