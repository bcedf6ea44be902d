"""Arrivals and lines in, readings in time out; live and replayed alike."""

from tensionlog.model.columns import Columns
from tensionlog.model.lines import DeviceLine
from tensionlog.model.sitting import Ledger
from tensionlog.timeline.block import Block
from tensionlog.timeline.counted import CountedDevice
from tensionlog.timeline.events import TimelineEvent
from tensionlog.timeline.host_tie import ClockStep, Drift, Stretch
from tensionlog.timeline.plain import PlainDevice
from tensionlog.timeline.reads import Reads

_SETTLED_AFTER_S = 60.0  # beyond that, more arrivals no longer touch a boot's beginning


class Timeline:
    """Follow one recording, or one live sitting.

    Call `arrived` with the host's time before the lines that were read then, `feed` with
    the lines, `close` when the stream has ended. Times of readings are device seconds
    since the first sample of their boot; `seconds` puts them on one axis.
    """

    def __init__(
        self,
        *,
        rate_hz: float | None,
        adc_bits: int | None,
        started_s: float,
        is_plain: bool = False,
        unit: str | None = None,
    ) -> None:
        """Begin before the first line.

        Args:
            rate_hz: Nominal sample rate; the device's own word and its clock override it.
            adc_bits: Width of the converter; the device's own word overrides it.
            started_s: Host time (UTC, seconds since 1970) at which the recording began.
            is_plain: Whether the device speaks another sketch's plain lines.
            unit: Unit of the plain dialect's values where a line names none.

        Raises:
            RecordingError: `unit` is none that is known.
        """
        self._device: CountedDevice | PlainDevice = (
            PlainDevice(rate_hz=rate_hz, unit=unit)
            if is_plain
            else CountedDevice(rate_hz=rate_hz, adc_bits=adc_bits)
        )
        self._started_s = started_s
        self._reads = Reads(self._device)
        self._bases_s: dict[int, float] = {0: 0.0}

    @property
    def carries_newtons(self) -> bool:
        """Whether the readings are newtons already (plain dialect with a unit)."""
        return isinstance(self._device, PlainDevice) and self._device.has_unit

    @property
    def proto(self) -> int | None:
        """Version of the wire that the device says it speaks; None where it said none."""
        return self._device.position.proto if isinstance(self._device, CountedDevice) else None

    @property
    def rate_hz(self) -> float | None:
        """Samples per second of device time, as measured; plain dialect: as stated."""
        return 1.0 / self._device.period_s if self._device.period_s else None

    @property
    def now(self) -> tuple[int, float]:
        """Boot and device time of the latest sample, (boot, 0.0) before the first."""
        return self._device.boot, self._device.here_s

    def arrived(self, at_s: float) -> None:
        """Say that what is fed from now on was read at host time `at_s` (UTC, s)."""
        self._reads.arrived(at_s)

    def feed(self, lines: list[DeviceLine]) -> list[TimelineEvent]:
        """Take decoded lines; return what they mean, in order."""
        return self._device.feed(lines, self._reads.at_s)

    def feed_columns(
        self, columns: Columns, *, begins: list[int], at_s: list[float]
    ) -> list[TimelineEvent]:
        """Take many lines at once; the same as `arrived` and `feed` read by read.

        Only for a device that numbers its samples.

        Args:
            columns: The lines.
            begins: Where in the bytes each read begins, rising.
            at_s: Host time of each of these reads.
        """
        assert isinstance(self._device, CountedDevice)  # a plain one has no columns
        block = Block(columns, begins=begins, at_s=at_s, device=self._device, reads=self._reads)
        return block.events()

    def close(self) -> list[TimelineEvent]:
        """Say that the stream has ended; return what was held back until now."""
        return self._device.close()

    @property
    def samples(self) -> int:
        """Valid samples so far."""
        return self._device.tally.samples

    def ledger(self) -> Ledger:
        """What the device counted against what arrived, so far."""
        boot = max(self._device.last_s, default=0)
        return self._device.tally.ledger(
            seconds=self.seconds(boot, self._device.last_s.get(boot, 0.0)),
            is_counted=isinstance(self._device, CountedDevice),
        )

    def seconds(self, boot: int, t_s: float) -> float:
        """Seconds from the recording's first sample, on the device clock.

        From one boot to the next, where no device clock ran, by the host's.
        """
        return self._base_s(boot) + t_s

    def at_device(
        self, at_s: float, near: tuple[int, float] | None = None
    ) -> tuple[int, float]:
        """Boot and device time at host time `at_s`.

        Args:
            at_s: Host time (UTC, seconds since 1970), as a note carries it.
            near: Boot and device time where the note stands in the file (None: at its
                end). It only decides where the host's clock was set back, so that
                `at_s` happened twice.
        """
        self._reads.settle()
        stretches = self._reads.tie.stretches()
        if not stretches:
            return self._laid_end_to_end(at_s - self._started_s)
        here = _nearest(stretches, near or self.now)

        def away(number: int) -> tuple[float, int]:
            first_s, last_s = self._host_span(stretches, number)
            return max(first_s - at_s, at_s - last_s, 0.0), abs(number - here)

        best = stretches[min(range(len(stretches)), key=away)]
        return best.boot, best.device_at(at_s)

    def drift_ppm(self) -> Drift | None:
        """How fast the device's clock runs against the host's; None: too short to tell."""
        self._reads.settle()
        return self._reads.tie.drift()

    def clock_steps(self) -> list[ClockStep]:
        """Where the host's clock was set by more than a quarter of a second or so."""
        self._reads.settle()
        return self._reads.tie.steps()

    def _host_span(self, stretches: list[Stretch], number: int) -> tuple[float, float]:
        """Host times between which the stretch holds, its boot's ends included."""
        stretch = stretches[number]
        begins_boot = number == 0 or stretches[number - 1].boot != stretch.boot
        ends_boot = number + 1 == len(stretches) or stretches[number + 1].boot != stretch.boot
        first_s = 0.0 if begins_boot else stretch.device_s[0]
        last_s = self._device.last_s[stretch.boot] if ends_boot else stretch.device_s[-1]
        return first_s + stretch.offset_s[0], last_s + stretch.offset_s[-1]

    def _base_s(self, boot: int) -> float:
        """Seconds from the recording's first sample to the first of `boot`."""
        if boot in self._bases_s:
            return self._bases_s[boot]
        before = max((b for b in self._device.last_s if b < boot), default=None)
        if before is None:
            return 0.0
        self._reads.settle()
        base_s = self._base_s(before) + self._device.last_s[before]
        base_s += max(self._device.nominal_s, self._off_s(before, boot))
        if boot < self._device.boot or self._device.last_s.get(boot, 0.0) > _SETTLED_AFTER_S:
            self._bases_s[boot] = base_s
        return base_s

    def _off_s(self, before: int, boot: int) -> float:
        """Host time from the last sample of one boot to the first of a later one."""
        last_s = self._device.last_s[before]
        then, now = (
            self._reads.tie.offset_s(before, last_s),
            self._reads.tie.offset_s(boot, 0.0),
        )
        return 0.0 if then is None or now is None else now - then - last_s

    def _laid_end_to_end(self, since_start_s: float) -> tuple[int, float]:
        """Without arrival times: the header's start is the first sample's time."""
        boots = [b for b in self._device.last_s if self._base_s(b) <= since_start_s]
        boot = max(boots, default=0)
        return boot, since_start_s - self._base_s(boot)


def _nearest(stretches: list[Stretch], near: tuple[int, float]) -> int:
    """Number of the stretch in which, or next to which, a place in the file lies."""
    boot, t_s = near

    def away(number: int) -> tuple[int, float]:
        stretch = stretches[number]
        outside_s = max(stretch.device_s[0] - t_s, t_s - stretch.device_s[-1], 0.0)
        return abs(stretch.boot - boot), outside_s

    return min(range(len(stretches)), key=away)
