"""Buttons, levers and faults: lines that borrow the number of the latest sample."""

from tensionlog.model.lines import Event, Fault
from tensionlog.timeline.events import FaultSeen, Marked, TimelineEvent
from tensionlog.timeline.position import Position
from tensionlog.timeline.tally import Tally
from tensionlog.timeline.unwrap import SEQ_SPAN

SATURATED = "saturated"

WIDEST_BITS = 32
"""No converter is wider; a device that says so is not believed, or 2^bits fills memory."""

_SETTLED_BY_US = 60_000_000
_EARLY_US = 1_000_000
_UNBOUNDED = 1 << 62


class Signals:
    """Place events and faults in time, and count each fault once.

    A line that does not fit the latest sample (the device has just started, or samples
    were lost) waits for the next one.
    """

    def __init__(self, tally: Tally, position: Position) -> None:
        self._tally = tally
        self._position = position
        self._waiting: list[Event | Fault] = []
        self._by_code: tuple[int, int] | None = None
        self._by_line: tuple[int, int] | None = None

    def take(self, line: Event | Fault, out: list[TimelineEvent], *, must_wait: bool) -> bool:
        """Give `line` out, or keep it until the next sample tells when it was.

        Returns:
            Whether it was given out.
        """
        fits = not must_wait and self._fits(line)
        if fits:
            self._tell(line, out)
        else:
            self._waiting.append(line)
        return fits

    def saturated(self, seq: int, out: list[TimelineEvent]) -> None:
        """Count a saturated code, unless the device has said so of the same sample."""
        self._by_code = (self._position.boot, seq)
        if self._by_code != self._by_line:
            self.fault(SATURATED, out)

    def fault(self, name: str, out: list[TimelineEvent], *, after_us: int = 0) -> None:
        """Count a fault `after_us` after the latest sample."""
        self._tally.faults[name] += 1
        out.append(FaultSeen(self._position.boot, (self._position.us + after_us) / 1e6, name))

    def release(self, out: list[TimelineEvent]) -> None:
        """Give out what waited for a sample, now that there is one."""
        waiting, self._waiting = self._waiting, []
        for line in waiting:
            self._tell(line, out)

    def _fits(self, line: Event | Fault) -> bool:
        position = self._position
        if position.last is None:
            return False
        ahead = (line.seq - position.last.seq) % SEQ_SPAN
        later_us = position.us_since_last(line.t_us)
        if ahead == 0:
            return later_us > -_EARLY_US
        return abs(ahead * position.period_us - later_us) < _EARLY_US

    def _tell(self, line: Event | Fault, out: list[TimelineEvent]) -> None:
        after_us = self._position.us_since_last(line.t_us)
        if abs(after_us) > _SETTLED_BY_US:
            after_us = 0  # its clock says nothing of this boot
        if isinstance(line, Event):
            t_s = (self._position.us + after_us) / 1e6
            out.append(Marked(self._position.boot, t_s, line.name))
        elif not self._said_by_code(line):
            self.fault(line.fault, out, after_us=after_us)

    def _said_by_code(self, line: Fault) -> bool:
        if line.fault != SATURATED:
            return False
        self._by_line = (self._position.boot, line.seq)
        return self._by_line == self._by_code


def full_scale(adc_bits: int | None) -> int:
    """Magnitude at and beyond which a code is the end of the scale, not a force.

    Two's complement reaches one further down than up; the code next to the lowest is as
    saturated as the highest is, since a device may clip symmetrically.
    """
    return _UNBOUNDED if adc_bits is None else (1 << (adc_bits - 1)) - 1
