"""Conversion number and device clock: both wrap, each says how often the other did.

The number wraps every 65,536 conversions (205 s at 320/s), the clock every 2³² µs
(71.6 min). Neither alone tells how long a silence was; together, and with the host's
clock for silences longer than a wrap, they do.
"""

from typing import NamedTuple

from tensionlog.model.lines import Sample

SEQ_SPAN = 1 << 16
CLOCK_SPAN_US = 1 << 32

ORDINARY_US = 250_000
"""Below this, one conversion after the other needs no second thought, whatever the rate."""

_ORDINARY_PERIODS = 20  # a header may say 80/s where a jumper on the board says 10/s
_NEIGHBOUR_US = 60_000_000


class Stamp(NamedTuple):
    """What a line says of when it was: conversion number and clock, both wrapping."""

    seq: int
    t_us: int

    @classmethod
    def of(cls, line: Sample) -> "Stamp":
        """The stamp of a sample."""
        return cls(line.seq, line.t_us)


class Stride(NamedTuple):
    """From one sample to a later one of the same boot.

    Attributes:
        conversions: Conversions from the one to the other, 1 for neighbours.
        us: Device time between them in microseconds.
    """

    conversions: int
    us: int


def likeliest_stride(
    before: Stamp, after: Stamp, *, period_us: float, host_us: float | None
) -> Stride:
    """The stride that explains what was seen, if there was no restart.

    The clock has wrapped as often as the host says, unless number and clock agree only
    without that: then it was the host's clock that was set.

    Args:
        before: Stamp of the earlier sample.
        after: Stamp of the later one.
        period_us: Time of one conversion.
        host_us: Time between the two arrivals, or None where the host noted none.
    """
    once = _stride(before, after, wraps=0, period_us=period_us)
    wraps = 0 if host_us is None else round((host_us - once.us) / CLOCK_SPAN_US)
    if host_us is None or wraps < 1:
        return once
    again = _stride(before, after, wraps=wraps, period_us=period_us)
    if not _as_long(again, host_us=host_us):
        return once
    told_better = _counter_agrees(once, period_us=period_us) and not _counter_agrees(
        again, period_us=period_us
    )
    return once if told_better else again


def _stride(before: Stamp, after: Stamp, *, wraps: int, period_us: float) -> Stride:
    seq_up = (after.seq - before.seq) % SEQ_SPAN
    us = (after.t_us - before.t_us) % CLOCK_SPAN_US + wraps * CLOCK_SPAN_US
    turns = max(0, round((us / period_us - seq_up) / SEQ_SPAN))
    return Stride(seq_up + turns * SEQ_SPAN, us)


def _as_long(stride: Stride, *, host_us: float) -> bool:
    """Whether the host saw as long a silence; resonators are off by up to 3 %."""
    return abs(stride.us - host_us) <= 100_000 + 0.05 * host_us


def longest_step_us(period_us: float) -> float:
    """Below this, one conversion after the other is believed."""
    return max(_ORDINARY_PERIODS * period_us, ORDINARY_US)


def is_neighbour(before: Stamp, after: Stamp) -> bool:
    """Whether the numbers follow one another within a minute: by chance, one in 65,536."""
    follows = (after.seq - before.seq) % SEQ_SPAN == 1
    return follows and (after.t_us - before.t_us) % CLOCK_SPAN_US < _NEIGHBOUR_US


def is_believable(
    stride: Stride,
    *,
    both_back: bool,
    period_us: float,
    host_us: float | None,
    is_seconded: bool,
) -> bool:
    """Whether one boot holds both ends of `stride`.

    Args:
        stride: The likeliest one.
        both_back: Whether number and clock are both lower than before.
        period_us: Time of one conversion.
        host_us: Time between the two arrivals, or None.
        is_seconded: Whether the sample after it goes on from there. Without that a
            silence much longer than the host saw is not believed, however well number
            and clock agree: of all damage, one in some hundred does by chance.
    """
    if both_back:
        return _wrapped_together(stride, period_us=period_us, host_us=host_us)
    if stride.conversions == 1 and stride.us < longest_step_us(period_us):
        return True
    horizon_us = _NEIGHBOUR_US + 1.05 * (host_us or 0.0)
    in_sight = is_seconded or stride.us <= horizon_us
    return (in_sight and _counter_agrees(stride, period_us=period_us)) or _host_agrees(
        stride, period_us=period_us, host_us=host_us
    )


def _wrapped_together(stride: Stride, *, period_us: float, host_us: float | None) -> bool:
    """Whether number and clock, both lower than before, wrapped rather than started again.

    Without arrival times only a short silence is believed: a restart is likelier than a
    long gap across both wraps.
    """
    longest_us = 120e6 if host_us is None else 1.05 * host_us + 2e6
    return stride.us <= longest_us and _counter_agrees(stride, period_us=period_us)


def _counter_agrees(stride: Stride, *, period_us: float) -> bool:
    """Whether number and clock tell the same story.

    A converter keeps its rate to a few parts in a thousand of the device's own clock;
    four periods are for short gaps.
    """
    off_us = abs(stride.conversions * period_us - stride.us)
    return stride.conversions > 0 and off_us <= max(4 * period_us, 0.003 * stride.us)


def _host_agrees(stride: Stride, *, period_us: float, host_us: float | None) -> bool:
    """Whether the host saw as long a silence, with a converter that may have rested.

    The number may lag behind the clock (no conversions were taken) but cannot run at
    twice the rate.
    """
    if host_us is None or stride.conversions < 1:
        return False
    too_many = stride.conversions * period_us > 2 * stride.us + 8 * period_us
    return not too_many and _as_long(stride, host_us=host_us)
