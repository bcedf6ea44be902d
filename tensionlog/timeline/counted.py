"""The pinned wire in time: every sample is numbered, so every loss can be counted.

Strategy. A sample that follows its predecessor within a few periods is the rule and goes
through a short inlined loop. Any other is judged: a copy of one already had, a gap that
number and clock (or the host's clock) agree on, or neither. In the last case it is held
until the next sample says which of the two it belongs to, because a damaged line whose
CRC holds by chance must neither become a reading nor pass for a restart.
"""

from collections.abc import Callable
from typing import Any

from tensionlog.model.lines import BadLine, DeviceLine, Event, Fault, Hello, Sample
from tensionlog.timeline.events import Gap, Reading, Restart, TimelineEvent
from tensionlog.timeline.position import Position
from tensionlog.timeline.recent import Recent
from tensionlog.timeline.signals import SATURATED, WIDEST_BITS, Signals, full_scale
from tensionlog.timeline.tally import Tally
from tensionlog.timeline.unwrap import (
    CLOCK_SPAN_US,
    ORDINARY_US,
    SEQ_SPAN,
    Stamp,
    Stride,
    is_neighbour,
)

CLOCK_JUMP = "clock-jump"
SEQ_JUMP = "seq-jump"

_CLOCK_MASK = CLOCK_SPAN_US - 1
_SEQ_MASK = SEQ_SPAN - 1
SILENCE_S = 30.0
"""After this long even a neighbour is judged."""

_WRAPPED_WITHIN_US = 60_000_000
_JUMP_BACK_US = 10_000_000
_NEVER = -1  # the number of no sample

_tuple = tuple.__new__  # a named tuple's own __new__ takes twice as long


class CountedDevice:
    """Follow one device through its samples, starts and faults.

    Attributes:
        tally: What was counted so far.
        position: Where the device is.
        top: Magnitude at and beyond which a code is the end of the scale, not a force.
    """

    def __init__(self, *, rate_hz: float | None, adc_bits: int | None) -> None:
        self.tally = Tally()
        self.position = Position(rate_hz=rate_hz)
        self._signals = Signals(self.tally, self.position)
        self.top = full_scale(adc_bits)
        self._name: tuple[str, str] | None = None
        self._expected = _NEVER
        self._suspect: Sample | None = None
        self._suspect_at_s: float | None = None
        self._recent = Recent()
        self._out: list[TimelineEvent] = []

    @property
    def boot(self) -> int:
        """Which start of the device is on, from 0."""
        return self.position.boot

    @property
    def last_s(self) -> dict[int, float]:
        """Device time of the latest sample of each boot that has one."""
        return self.position.last_s

    @property
    def here_s(self) -> float:
        """Device time of the latest sample of this boot, 0 before its first."""
        return self.position.us / 1e6

    @property
    def period_s(self) -> float:
        """Device time from one conversion to the next."""
        return self.position.period_us / 1e6

    @property
    def nominal_s(self) -> float:
        """The same as it was stated: it does not hang on how much was read at once."""
        return self.position.nominal_us / 1e6

    def feed(self, lines: list[DeviceLine], at_s: float | None) -> list[TimelineEvent]:
        """Take lines that arrived at host time `at_s` (None: not noted)."""
        out = self.begin()
        if lines:
            self._arrive(at_s)
            self._walk(lines)
        return out

    def begin(self) -> list[TimelineEvent]:
        """Begin another list of events; those of the one before are given out."""
        self._recent.add(self._out)
        self._out = []
        return self._out

    def take(self, line: DeviceLine, at_s: float | None) -> None:
        """Take one line into the events begun."""
        self._arrive(at_s)
        self._walk([line])

    def goes_on(self, sample: Sample, at_s: float) -> bool:
        """Whether a sample, read at `at_s` (NaN: not noted), needs no second thought."""
        seq, t_us, counts = sample
        position = self.position
        is_near = (t_us - position.t_us) & _CLOCK_MASK < ORDINARY_US
        is_inside = -self.top < counts < self.top
        is_silent = at_s - (position.last_at_s or at_s) > SILENCE_S
        return seq == self._expected and is_near and is_inside and not is_silent

    def go_on(
        self, samples: int, us: int, last: Stamp, us_before: Callable[[int], int]
    ) -> None:
        """Go on over samples of which each follows the one before; see `Position.advance`."""
        self.tally.samples += samples
        self._expected = (last.seq + 1) & _SEQ_MASK
        self.position.advance(samples, us, last.seq, last.t_us, us_before)

    def close(self) -> list[TimelineEvent]:
        """Give out what was held back for a second opinion that no longer comes."""
        self.begin()
        self._confirm()
        self._signals.release(self._out)
        return self._out

    def _arrive(self, at_s: float | None) -> None:
        position = self.position
        position.at_s = at_s
        if at_s is not None and at_s - (position.last_at_s or at_s) > SILENCE_S:
            self._expected = _NEVER

    def _walk(self, lines: list[DeviceLine]) -> None:
        """The loop that nearly every sample goes through; the rest goes to `_other`."""
        position, append = self.position, self._out.append
        boot, us, top, expected = position.boot, position.us, self.top, self._expected
        t_us = position.t_us
        ordinary = 0
        for line in lines:
            if line.__class__ is Sample:
                seq, now_us, counts = line
                step = (now_us - t_us) & _CLOCK_MASK
                if seq == expected and step < ORDINARY_US and -top < counts < top:
                    us += step
                    t_us = now_us
                    expected = (seq + 1) & _SEQ_MASK
                    ordinary += 1
                    append(_tuple(Reading, (boot, us / 1e6, counts)))
                    continue
            if ordinary:
                self._advance(ordinary, us, t_us, expected)
                ordinary = 0
            self._other(line)
            boot, us, top, expected = position.boot, position.us, self.top, self._expected
            t_us = position.t_us
        if ordinary:
            self._advance(ordinary, us, t_us, expected)

    def _advance(self, samples: int, us: int, t_us: int, expected: int) -> None:
        readings: list[Any] = self._out
        last = Stamp((expected - 1) & _SEQ_MASK, t_us)
        self.go_on(samples, us, last, lambda n: round(readings[-1 - n].t_s * 1e6))

    def _other(self, line: DeviceLine) -> None:
        match line:
            case Sample():
                self._sample(line)
            case BadLine():
                self.tally.bad_lines += 1
            case Hello():
                self._hello(line)
            case Event() | Fault():
                if not self._signals.take(line, self._out, must_wait=self._suspect is not None):
                    self._expected = _NEVER  # so that the next sample lets it go

    def _sample(self, line: Sample) -> None:
        last = self.position.last
        if last is None:
            self.position.begin(Stamp.of(line))
            self._place(line)
        elif self._suspect is not None:
            self._second_opinion(last, self._suspect, line)
        elif self._is_copy(last, line):
            self.tally.duplicates += 1
        elif stride := self.position.believed(last, Stamp.of(line), self.position.last_at_s):
            self._accept(line, stride)
        else:
            self._suspect, self._suspect_at_s = line, self.position.at_s
            self._expected = _NEVER

    def _second_opinion(self, last: Stamp, suspect: Sample, line: Sample) -> None:
        """Decide on the sample held back by the one that comes after it."""
        if Stamp.of(line) == Stamp.of(suspect) or self._is_copy(last, line):
            self.tally.duplicates += 1
            return
        if self._belongs_to(suspect, line, last):
            self._confirm()
        else:
            self.tally.bad_lines += 1  # its CRC held by chance
            self._suspect = None
        self._sample(line)

    def _belongs_to(self, suspect: Sample, line: Sample, last: Stamp) -> bool:
        """Whether `line` goes on from the sample held back rather than from the last one."""
        before, after = Stamp.of(suspect), Stamp.of(line)
        if is_neighbour(before, after):
            return True
        if is_neighbour(last, after):
            return False
        return self.position.believed(before, after, self._suspect_at_s) is not None

    def _is_copy(self, last: Stamp, line: Sample) -> bool:
        """Whether the same sample is among the latest: a link may say things twice."""
        t_s = (self.position.us - ((last.t_us - line.t_us) & _CLOCK_MASK)) / 1e6
        said = SATURATED if self._is_saturated(line) else line.counts
        # Forward, `t_s` is a whole turn of the clock back: most gaps end here.
        return t_s >= 0.0 and self._recent.holds((self.position.boot, t_s, said), self._out)

    def _is_saturated(self, line: Sample) -> bool:
        return not -self.top < line.counts < self.top

    def _confirm(self) -> None:
        """Take the sample held back for what it says: a gap, a jump or a restart."""
        line, last = self._suspect, self.position.last
        if line is None or last is None:
            return
        self._suspect = None
        stride = self.position.believed(
            last, Stamp.of(line), self.position.last_at_s, is_seconded=True
        )
        up_us = (line.t_us - last.t_us) & _CLOCK_MASK
        number_rose = line.seq > last.seq
        if stride:
            self._accept(line, stride)
        elif line.t_us == last.t_us:
            self.tally.bad_lines += 1  # one moment has one conversion: this is another's
        elif line.t_us >= last.t_us or (number_rose and up_us < _WRAPPED_WITHIN_US):
            self._jump_ahead(last, line)
        elif number_rose and CLOCK_SPAN_US - up_us < _JUMP_BACK_US:
            self._clock_jump(line.seq - last.seq, line)
        else:
            self._restart()
            self._sample(line)

    def _jump_ahead(self, last: Stamp, line: Sample) -> None:
        stride = self.position.likeliest(last, Stamp.of(line), self.position.last_at_s)
        if not 0 < (line.seq - last.seq) & _SEQ_MASK <= _SEQ_MASK // 2:
            self._signals.fault(SEQ_JUMP, self._out)  # the number went back, the clock not
            stride = Stride(1, stride.us)
        self._accept(line, stride)

    def _clock_jump(self, conversions: int, line: Sample) -> None:
        """The clock went back a little and the number did not: time goes on by the number."""
        self._signals.fault(CLOCK_JUMP, self._out)
        self._accept(line, Stride(conversions, round(conversions * self.position.period_us)))

    def _accept(self, line: Sample, stride: Stride) -> None:
        before_s = self.position.here_s
        self.position.move(stride, Stamp.of(line))
        missing = stride.conversions - 1
        if missing:
            self.tally.missing += missing
            here_s = self.position.here_s
            self._out.append(Gap(self.position.boot, before_s, here_s, missing))
        self._place(line)

    def _place(self, line: Sample) -> None:
        """Give out an accepted sample at the time just reached."""
        self._expected = (line.seq + 1) & _SEQ_MASK
        self.tally.samples += 1
        self._signals.release(self._out)
        if self._is_saturated(line):
            self._signals.saturated(line.seq, self._out)
        else:
            reading = Reading(self.position.boot, self.position.here_s, line.counts)
            self._out.append(reading)

    def _hello(self, line: Hello) -> None:
        self._confirm()
        name = (line.device, line.boot)
        if self._name is not None and name != self._name:
            self._restart()
        self._name = name
        self.position.introduced(line)
        if 1 < line.adc_bits <= WIDEST_BITS:
            self.top = full_scale(line.adc_bits)

    def _restart(self) -> None:
        self.tally.restarts += 1
        self._name = None  # the next identity is this start's, not one more start
        self._expected = _NEVER
        self._suspect = None
        self.position.restart()
        self._recent.clear()
        self._out.append(Restart(self.position.boot))
