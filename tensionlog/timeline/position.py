"""Where a device is: which start, which conversion, how far its clock has come."""

from collections.abc import Callable

from tensionlog.model.lines import Hello
from tensionlog.timeline.unwrap import (
    CLOCK_SPAN_US,
    Stamp,
    Stride,
    is_believable,
    likeliest_stride,
)

DEFAULT_RATE_HZ = 80.0

_MEASURED_OVER = 64  # samples; enough to average jitter out, few enough to follow a change
_MEASURED_AT_LEAST = 8
_HALF_CLOCK_US = CLOCK_SPAN_US // 2


class Position:
    """The latest sample of a device, unwrapped.

    Attributes:
        boot: Which start of the device, from 0.
        t_us: Clock of the latest sample of this boot, as it was sent.
        us: Device time since the first sample of this boot, microseconds.
        at_s: Host time of what is being read, or None where the host noted none.
        last_at_s: Host time at which the latest sample arrived, or None.
        nominal_us: Time of one conversion, as stated by the device or the header.
        period_us: Time of one conversion, as measured over the latest clean run.
        proto: Version of the wire that the device says it speaks; None before it said any.
    """

    def __init__(self, *, rate_hz: float | None) -> None:
        self.boot = 0
        self.proto: int | None = None
        self.us = self.t_us = 0
        self.at_s: float | None = None
        self.last_at_s: float | None = None
        self._seq: int | None = None
        self._ended_s: dict[int, float] = {}
        self.period_us = self.nominal_us = 1e6 / (rate_hz or DEFAULT_RATE_HZ)
        self._conversions = self._measured_n = self._measured_us = 0

    @property
    def here_s(self) -> float:
        """Device time of the latest sample, seconds since the first of this boot."""
        return self.us / 1e6

    @property
    def last(self) -> Stamp | None:
        """Stamp of the latest sample of this boot, or None before its first."""
        return None if self._seq is None else Stamp(self._seq, self.t_us)

    @property
    def last_s(self) -> dict[int, float]:
        """Device time of the latest sample of each boot that has one, seconds."""
        return self._ended_s if self._seq is None else {**self._ended_s, self.boot: self.here_s}

    def begin(self, stamp: Stamp) -> None:
        """Take the first sample of a boot: its time is 0."""
        self._conversions = self._measured_n = self._measured_us = 0
        self._go_to(0, 0, stamp.seq, stamp.t_us)

    def advance(
        self, samples: int, us: int, seq: int, t_us: int, us_before: Callable[[int], int]
    ) -> None:
        """Go on over neighbours, the last of which has this number and clock, at `us`.

        Args:
            samples: How many.
            us: Device time of the last of them, microseconds.
            seq: Its number.
            t_us: Its clock.
            us_before: Device time of the one so many before the last.
        """
        self._go_to(samples, us, seq, t_us)
        since = self._conversions - self._measured_n
        if since >= _MEASURED_OVER:  # always over as many, however many come at once
            over = since % _MEASURED_OVER
            is_first = since - over == _MEASURED_OVER
            begin_us = self._measured_us if is_first else us_before(over + _MEASURED_OVER)
            self._measured_n, self._measured_us = self._conversions - over, us_before(over)
            self.period_us = (self._measured_us - begin_us) / _MEASURED_OVER

    def move(self, stride: Stride, stamp: Stamp) -> None:
        """Go on by one stride."""
        self._go_to(stride.conversions, self.us + stride.us, stamp.seq, stamp.t_us)
        is_long = self._conversions - self._measured_n >= _MEASURED_OVER
        if is_long:
            self.period_us = self.period_now_us()
        if is_long or stride.conversions > 1:  # a rest of the converter is not its rate
            self._measured_n, self._measured_us = self._conversions, self.us

    def restart(self) -> None:
        """The device started again; its clock and number mean nothing any more."""
        self._ended_s = self.last_s
        self.boot += 1
        self._seq = None
        self.us = self._conversions = self._measured_n = self._measured_us = 0

    def _go_to(self, conversions: int, us: int, seq: int, t_us: int) -> None:
        self._conversions += conversions
        self.us = us
        self._seq = seq
        self.t_us = t_us
        self.last_at_s = self.at_s

    def introduced(self, hello: Hello) -> None:
        """Take the device's own word for its rate until enough samples tell better."""
        self.proto, rate_hz = hello.proto, hello.rate_hz
        if rate_hz > 0.0:
            self.nominal_us = 1e6 / rate_hz
        if rate_hz > 0.0 and self._conversions < _MEASURED_AT_LEAST:
            self.period_us = 1e6 / rate_hz

    def period_now_us(self) -> float:
        """Time of one conversion, from this very run if it is long enough."""
        conversions = self._conversions - self._measured_n
        if conversions >= _MEASURED_AT_LEAST:
            return (self.us - self._measured_us) / conversions
        return self.period_us

    def host_us(self, before_at_s: float | None) -> float | None:
        """Host time from an earlier arrival to now, microseconds, never negative."""
        if before_at_s is None or self.at_s is None:
            return None
        return max(0.0, self.at_s - before_at_s) * 1e6

    def likeliest(self, before: Stamp, after: Stamp, before_at_s: float | None) -> Stride:
        """How far it is from `before` to `after` in one boot."""
        return likeliest_stride(
            before,
            after,
            period_us=self.period_now_us(),
            host_us=self.host_us(before_at_s),
        )

    def believed(
        self,
        before: Stamp,
        after: Stamp,
        before_at_s: float | None,
        *,
        is_seconded: bool = False,
    ) -> Stride | None:
        """How far it is, or None if one boot cannot be believed to hold both."""
        stride = self.likeliest(before, after, before_at_s)
        believable = is_believable(
            stride,
            both_back=after.seq < before.seq and after.t_us < before.t_us,
            period_us=self.period_now_us(),
            host_us=self.host_us(before_at_s),
            is_seconded=is_seconded,
        )
        return stride if believable else None

    def us_since_last(self, t_us: int) -> int:
        """Device time of `t_us` minus that of the latest sample; either may be first."""
        if self._seq is None:
            return 0
        return (t_us - self.t_us + _HALF_CLOCK_US) % CLOCK_SPAN_US - _HALF_CLOCK_US
