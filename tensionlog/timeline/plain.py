"""Another sketch's plain lines in time: by its own clock, or else on arrival.

Without a number on each line nobody can say what is missing or how often the device
started; without a clock a line is timed when it came. The lines of one chunk came
together but were not taken together: they are spread back over the time since the chunk
before, never wider than one nominal period each.
"""

from tensionlog.errors import RecordingError
from tensionlog.model.lines import BadLine, DeviceLine, PlainReading
from tensionlog.timeline.events import Reading, Restart, TimelineEvent
from tensionlog.timeline.tally import Tally
from tensionlog.units import N_PER_KGF, N_PER_LBF

N_PER_PLAIN_UNIT = {
    "n": 1.0,
    "kn": 1000.0,
    "kg": N_PER_KGF,
    "kgf": N_PER_KGF,
    "g": N_PER_KGF / 1000.0,
    "gf": N_PER_KGF / 1000.0,
    "lb": N_PER_LBF,
    "lbs": N_PER_LBF,
    "lbf": N_PER_LBF,
}
"""What sketches write behind the number, in lower case, in newtons."""

UNKNOWN_UNIT = "unknown-unit"

_WRAPS_MS = (2.0**32, 2.0**32 / 1000.0)  # of a clock in milliseconds, and in microseconds
_NEAR_WRAP_MS = 60_000.0
_UNTOLD_STEP_S = 0.001


class PlainDevice:
    """Follow a device that sends plain lines.

    Attributes:
        tally: What was counted so far.
        boot: Which start of the device, as far as its own clock shows any.
        last_s: Device time of the latest reading of each boot that has one.
        has_unit: Whether readings are newtons, because a unit was stated for all.
    """

    def __init__(self, *, rate_hz: float | None, unit: str | None) -> None:
        """Begin before the first line.

        Raises:
            RecordingError: `unit` is none that is known.
        """
        self.tally = Tally()
        self.boot = 0
        self.last_s: dict[int, float] = {}
        self.has_unit = unit is not None
        self._n_per_unit = _newtons_per(unit)
        self._period_s = None if rate_hz is None else 1.0 / rate_hz
        self._at_s: float | None = None
        self._at_device_s = 0.0
        self._first_ms: float | None = None
        self._last_ms = 0.0

    @property
    def here_s(self) -> float:
        """Device time of the latest reading of this boot, 0 before its first."""
        return self.last_s.get(self.boot, 0.0)

    @property
    def period_s(self) -> float:
        """Nominal time from one reading to the next; 0 where nobody stated a rate."""
        return self._period_s or 0.0

    @property
    def nominal_s(self) -> float:
        """The same."""
        return self.period_s

    def feed(self, lines: list[DeviceLine], at_s: float | None) -> list[TimelineEvent]:
        """Take lines that arrived together at host time `at_s` (None: not noted).

        Raises:
            RecordingError: There is neither a clock, nor arrival times, nor a rate.
        """
        readings = [line for line in lines if isinstance(line, PlainReading)]
        self.tally.bad_lines += sum(isinstance(line, BadLine) for line in lines)
        out: list[TimelineEvent] = []
        if all(line.t_ms is not None for line in readings):
            times_s = [0.0] * len(readings)
        else:
            times_s = self._spread(len(readings), at_s)
        for line, on_arrival_s in zip(readings, times_s, strict=True):
            t_s = on_arrival_s if line.t_ms is None else self._by_clock(line.t_ms, out)
            self._place(line, t_s, out)
        return out

    def close(self) -> list[TimelineEvent]:
        """Nothing is ever held back."""
        return []

    def _place(self, line: PlainReading, t_s: float, out: list[TimelineEvent]) -> None:
        n_per_unit = self._n_per_unit
        if line.unit is not None:
            stated = N_PER_PLAIN_UNIT.get(line.unit.lower())
            if stated is None:
                self.tally.faults[UNKNOWN_UNIT] += 1
                self.tally.bad_lines += 1
                return
            n_per_unit = stated
            self.has_unit = True
        self.tally.samples += 1
        self.last_s[self.boot] = t_s
        out.append(Reading(self.boot, t_s, line.value * n_per_unit))

    def _spread(self, n: int, at_s: float | None) -> list[float]:
        """Device times for `n` readings (at least one) of a chunk, the last at `at_s`."""
        last_s = self.last_s.get(self.boot)
        since_s = 0.0 if at_s is None or self._at_s is None else at_s - self._at_s
        end_s = self._at_device_s + since_s
        if last_s is None or since_s <= 0.0 or end_s <= last_s:
            step_s = self._step_s(at_s)
            end_s = (n - 1) * step_s if last_s is None else last_s + n * step_s
        else:
            step_s = min(self._period_s or since_s, (end_s - last_s) / n)
        if at_s != self._at_s:
            self._at_s, self._at_device_s = at_s, end_s
        return [end_s - (n - 1 - i) * step_s for i in range(n)]

    def _step_s(self, at_s: float | None) -> float:
        """Time between readings where no earlier arrival tells."""
        if self._period_s is None and at_s is None:
            raise RecordingError(
                "the plain lines have no clock of their own (group 't_ms'), the recording no "
                "arrival times and its header no rate_hz: nobody knows when they were taken."
            )
        return self._period_s or _UNTOLD_STEP_S

    def _by_clock(self, t_ms: float, out: list[TimelineEvent]) -> float:
        if self._first_ms is None:
            self._first_ms = t_ms
        elif t_ms < self._last_ms:
            span_ms = _wrapped_ms(self._last_ms, t_ms)
            if span_ms is None:
                self.tally.restarts += 1
                self.boot += 1
                out.append(Restart(self.boot))
                self._first_ms = t_ms
            else:
                self._first_ms -= span_ms
        self._last_ms = t_ms
        return (t_ms - self._first_ms) / 1000.0


def _wrapped_ms(before_ms: float, after_ms: float) -> float | None:
    """Span of the clock if it wrapped between the two, or None if it started again."""
    for span_ms in _WRAPS_MS:
        if span_ms - _NEAR_WRAP_MS < before_ms < span_ms and after_ms < _NEAR_WRAP_MS:
            return span_ms
    return None


def _newtons_per(unit: str | None) -> float:
    if unit is None:
        return 1.0
    if unit.strip().lower() not in N_PER_PLAIN_UNIT:
        raise RecordingError(
            f"the unit {unit!r} is none that is known. Write one of N, kN, kg, g or lb."
        )
    return N_PER_PLAIN_UNIT[unit.strip().lower()]
