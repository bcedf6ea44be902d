"""The conservation law, checked on the lines of a recording.

    numbers the device counted  =  samples in the recording  ⊎  samples declared missing

Nothing false, nothing twice. The account under test is the timeline's; the other side of
the balance is read from the lines by code that shares nothing with it but the decoder.

Strategy. Readings come out in the order of their lines, so each claims the first line
not yet claimed that says the same. Between two lines claimed one after the other the
device's number must have risen by one, by what was declared missing, and by the
saturated codes passed over, which are samples but no readings. Whatever else is passed
over must turn up in the ledger as a copy or as damage.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from tensionlog.model.lines import BadLine, DeviceLine, Hello, PlainReading, Sample
from tensionlog.model.recording import Header
from tensionlog.model.sitting import Ledger
from tensionlog.timeline import FaultSeen, Gap, Reading, Timeline, TimelineEvent
from tensionlog.wire import LineDecoder, PlainDecoder

SEQ_SPAN = 1 << 16

Place = tuple[int, float]
"""Boot and device time of a sample; no two samples share one."""

_RENUMBERED = "seq-jump"
_WIDEST_BITS = 33  # no converter is wider: nothing counts as saturated


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the check of one recording found.

    Attributes:
        counted: Conversions that the device counted, or None without numbers.
        ledger: What the product says of the recording.
        undeclared: Conversions that neither arrived nor were declared missing, or were
            declared missing and arrived; 0 by the law.
        false: Samples that no line says, and lines that are nobody's; 0 by the law.
        twice: Readings given out twice or out of order; 0 by the law.
        unproven: Why the law cannot be proven here, or None.
    """

    counted: int | None
    ledger: Ledger
    undeclared: int
    false: int
    twice: int
    unproven: str | None = None

    @property
    def problems(self) -> tuple[str, ...]:
        """One line for each way in which the law does not hold."""
        said = (
            (self.undeclared, "conversions are not accounted for"),
            (self.false, "samples or lines stand for nothing in the recording"),
            (self.twice, "samples were given out twice or out of order"),
        )
        return tuple(f"{times} {what}" for times, what in said if times)


class Audit:
    """Both sides of the balance, fed with the same bytes.

    Args:
        header: Of the recording.
        stored: Samples that a database holds of it. Each is crossed out as it comes by;
            what is left at the end is false.
    """

    def __init__(self, header: Header, *, stored: Mapping[Place, float] | None = None) -> None:
        self.timeline = Timeline(
            rate_hz=header.rate_hz,
            adc_bits=header.adc_bits,
            started_s=header.started.timestamp(),
            is_plain=header.is_plain,
            unit=header.unit,
        )
        self._decoder = (
            LineDecoder() if header.pattern is None else PlainDecoder(header.pattern)
        )
        self._is_plain = header.is_plain
        self._bits = header.adc_bits or _WIDEST_BITS
        self._stored = dict(stored or {})
        self._unclaimed: deque[Sample] = deque()
        self._last: Reading | None = None
        self._last_seq = 0
        self._declared: int | None = 0  # missing since the last claim; None: renumbered
        self._lines = 0
        self._undeclared = self._false = self._twice = 0

    def arrived(self, at_s: float) -> None:
        """Host time (UTC, s) at which the bytes that follow were read."""
        self.timeline.arrived(at_s)

    def feed(self, data: bytes) -> None:
        """Bytes of the device, cut anywhere."""
        self._balance(self._decoder.feed(data))

    def close(self) -> Proof:
        """Draw the line under both sides."""
        self._balance(self._decoder.close())
        self._settle(self.timeline.close())
        ledger = self.timeline.ledger()
        stands_for = ledger.samples + ledger.duplicates + ledger.bad_lines
        nobodys = abs(self._lines - stands_for)
        why = "the dialect has no numbers: what is missing cannot be known"
        return Proof(
            counted=None
            if ledger.missing is None
            else ledger.samples + ledger.missing + self._undeclared,
            ledger=ledger,
            undeclared=self._undeclared,
            false=self._false + nobodys + len(self._stored),
            twice=self._twice,
            unproven=why if self._is_plain else None,
        )

    def _balance(self, lines: list[DeviceLine]) -> None:
        samples = [line for line in lines if isinstance(line, Sample)]
        for line in lines:
            if isinstance(line, Hello) and 1 < line.adc_bits < _WIDEST_BITS:
                self._bits = line.adc_bits
        self._lines += len(samples)
        self._lines += sum(isinstance(line, BadLine | PlainReading) for line in lines)
        self._unclaimed.extend(samples)
        self._settle(self.timeline.feed(lines))

    def _settle(self, events: Sequence[TimelineEvent]) -> None:
        for event in events:
            if isinstance(event, Reading):
                self._claim(event)
            elif isinstance(event, Gap):
                self._undeclared += SEQ_SPAN * abs(self._turns_off(event))
                if self._declared is not None:
                    self._declared += event.missing
            elif isinstance(event, FaultSeen) and event.name == _RENUMBERED:
                self._declared = None

    def _claim(self, reading: Reading) -> None:
        last = self._last
        if last is not None and reading[:2] <= last[:2]:
            self._twice += 1
        stored = self._stored.pop(reading[:2], reading.counts)
        self._false += stored != reading.counts
        self._last = reading
        if not self._is_plain:
            self._claim_line(reading, same_boot=last is not None and last.boot == reading.boot)

    def _claim_line(self, reading: Reading, *, same_boot: bool) -> None:
        passed: set[int] = set()
        while self._unclaimed:
            line = self._unclaimed.popleft()
            if line.counts == reading.counts:
                if same_boot and self._declared is not None:
                    self._count_step(line.seq, passed, self._declared)
                self._last_seq, self._declared = line.seq, 0
                return
            if self._is_saturated(line):
                passed.add(line.seq)
        self._false += 1

    def _count_step(self, seq: int, passed: set[int], declared: int) -> None:
        rise = (seq - self._last_seq) % SEQ_SPAN
        saturated = sum((s - self._last_seq) % SEQ_SPAN < rise for s in passed)
        off = (rise - 1 - saturated - declared) % SEQ_SPAN
        self._undeclared += min(off, SEQ_SPAN - off)

    def _is_saturated(self, line: Sample) -> bool:
        top = (1 << (self._bits - 1)) - 1
        return not -top < line.counts < top

    def _turns_off(self, gap: Gap) -> int:
        """Whole turns of the number by which a gap disagrees with the device's clock."""
        rate_hz = self.timeline.rate_hz
        if rate_hz is None:
            return 0
        return round(((gap.before_s - gap.after_s) * rate_hz - gap.missing - 1) / SEQ_SPAN)


def is_rising(times_s: Sequence[float]) -> bool:
    """Whether no time comes twice or goes back."""
    return all(a < b for a, b in pairwise(times_s))
