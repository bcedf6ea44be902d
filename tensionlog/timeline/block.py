"""Many samples through a device at once, with the same result as read by read.

Strategy. Where each sample follows the one before it closely, `CountedDevice` has nothing
to decide, so such a run is taken in one step. At whatever else there is (a gap, a copy, a
code at the end of the scale, another line) the run stops, and the device itself decides
line by line until samples follow one another again. The arrivals inside a run tie the
clocks as if they had been told one after the other.
"""

from bisect import bisect_left, bisect_right

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.columns import Columns
from tensionlog.model.lines import BadLine, Hello, Sample
from tensionlog.timeline.counted import SILENCE_S, CountedDevice
from tensionlog.timeline.events import Readings, TimelineEvent
from tensionlog.timeline.reads import Reads
from tensionlog.timeline.unwrap import CLOCK_SPAN_US, ORDINARY_US, SEQ_SPAN, Stamp

_CLOCK_MASK = CLOCK_SPAN_US - 1
_SEQ_MASK = SEQ_SPAN - 1
_FEW_READS = 8
_LARGE_READ = 120  # samples less than `ORDINARY_US` apart: fewer are no burst of 30 s


class Block:
    """One block of lines, taken through a device.

    Args:
        columns: The lines.
        begins: Where in the bytes each read begins, rising.
        at_s: Host time of each of these reads.
        device: Takes the samples.
        reads: Takes the arrivals.
    """

    def __init__(
        self,
        columns: Columns,
        *,
        begins: list[int],
        at_s: list[float],
        device: CountedDevice,
        reads: Reads,
    ) -> None:
        self._columns = columns
        self._begins, self._at_s = begins, at_s
        self._device, self._reads = device, reads
        self._first = np.searchsorted(columns.ends, np.array(begins, np.int64), "right")
        self._told = 0
        self._sample_at_s = self._arrivals()
        since_us = np.cumsum(np.diff(columns.t_us) & _CLOCK_MASK)
        self._us = np.concatenate([np.zeros(1, np.int64), since_us])
        self._t_s = self._us / 1e6
        self._stops = self._find_stops()
        self._out = device.begin()

    def events(self) -> list[TimelineEvent]:
        """What the lines mean, in order."""
        at = 0
        for before, end, line in self._columns.others:
            if isinstance(line, BadLine):  # counted, and between two samples nothing else
                self._device.tally.bad_lines += 1
                continue
            self._take_samples(at, before)
            self._tell_reads(end)
            self._device.take(line, self._reads.at_s)
            if isinstance(line, Hello):  # it may have changed where the scale ends
                self._stops = self._find_stops()
            at = before
        self._take_samples(at, len(self._columns.seq))
        self._tell_reads(None)
        return self._out

    def _arrivals(self) -> NDArray[np.float64]:
        """Host time at which each sample was read, NaN where the host noted none."""
        before_s = np.nan if self._reads.at_s is None else self._reads.at_s
        read = np.searchsorted(np.array(self._begins, np.int64), self._columns.ends, "left")
        return np.array([before_s, *self._at_s])[read]

    def _find_stops(self) -> list[int]:
        """Samples that need a second thought even where all is well before them."""
        _, t_us, counts, _, _ = self._columns
        follows = (np.diff(self._columns.seq) & _SEQ_MASK) == 1
        follows &= (np.diff(t_us) & _CLOCK_MASK) < ORDINARY_US
        follows &= ~(np.diff(self._sample_at_s) > SILENCE_S)
        follows &= np.abs(counts[1:]) < self._device.top
        return (np.flatnonzero(~follows) + 1).tolist()

    def _take_samples(self, at: int, end: int) -> None:
        seq, t_us, counts, ends, _ = self._columns
        while at < end:
            sample = Sample(int(seq[at]), int(t_us[at]), int(counts[at]))
            at_s = float(self._sample_at_s[at])
            if self._device.goes_on(sample, at_s):
                stop = bisect_right(self._stops, at)
                to = min(end, self._stops[stop] if stop < len(self._stops) else end)
                self._take_run(at, to)
                at = to
            else:
                self._tell_reads(int(ends[at]))
                self._device.take(sample, self._reads.at_s)
                at += 1

    def _take_run(self, begin: int, end: int) -> None:
        """Samples that follow one another, and the first of them the latest one."""
        position = self._device.position
        step_us = (int(self._columns.t_us[begin]) - position.t_us) & _CLOCK_MASK
        self._count_from(begin, position.us + step_us)
        t_s, counts = self._t_s[begin:end], self._columns.counts[begin:end]
        self._out.append(Readings(position.boot, t_s, counts))
        told = bisect_left(self._begins, int(self._columns.ends[end - 1]), self._told)
        first = self._first[self._told : told]
        at = begin
        if told - self._told > _FEW_READS and np.diff(first).max() <= _LARGE_READ:
            at = self._tie_reads(begin, first)
        else:
            for read, sample in enumerate(first.tolist(), self._told):
                at = self._go_on(at, sample)
                self._reads.arrived(self._at_s[read])
        self._told = told
        self._go_on(at, end)

    def _count_from(self, at: int, us: int) -> None:
        """Let the sample at `at` be at device time `us`, and the others as far from it."""
        if us != self._us[at]:
            self._us = self._us + (us - self._us[at])
            self._t_s = self._us / 1e6

    def _tie_reads(self, begin: int, first: NDArray[np.intp]) -> int:
        """Tie the reads that begin inside a run with these samples; give back the last one."""
        at_s = self._at_s[self._told : self._told + len(first)]
        self._go_on(begin, int(first[0]))
        self._reads.arrived(at_s[0])
        gave = np.flatnonzero(np.diff(first))
        last_s = self._t_s[first[gave + 1] - 1]
        self._reads.tie.add_all(self._device.boot, last_s, np.array(at_s)[gave])
        self._go_on(int(first[0]), int(first[-1]))
        self._reads.begin(at_s[-1])
        return int(first[-1])

    def _go_on(self, at: int, end: int) -> int:
        if end > at:
            us, last = self._us, end - 1
            stamp = Stamp(int(self._columns.seq[last]), int(self._columns.t_us[last]))
            self._device.position.at_s = self._reads.at_s
            self._device.go_on(end - at, int(us[last]), stamp, lambda n: int(us[last - n]))
        return end

    def _tell_reads(self, end: int | None) -> None:
        """Tell of the reads that begin before `end`."""
        begins = self._begins
        told = len(begins) if end is None else bisect_left(begins, end, self._told)
        for at_s in self._at_s[self._told : told]:
            self._reads.arrived(at_s)
        self._told = told
