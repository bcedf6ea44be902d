"""From bytes to measured pulls: the part of a sitting that runs while samples come.

Samples go through the stretch finder one by one. The stretches of a job are read
together when it ends, or when many have gathered, because the head, the string and the
converter are the same for all of them; that also keeps memory flat.
"""

from collections.abc import Callable, Sequence
from copy import copy

import numpy as np

from tensionlog.model.lines import DeviceLine
from tensionlog.model.recording import Arrival, Calibration, Chunks, Header, Note
from tensionlog.pipeline.kept import Kept, Lesson
from tensionlog.pipeline.lever import read_pull
from tensionlog.pipeline.plausible import usable
from tensionlog.pipeline.windows import Windows
from tensionlog.pulls.finder import Stretch, StretchFinder
from tensionlog.pulls.group import (
    is_pull,
    same_pull,
    shapes_of,
    usual_level,
    zero_walk,
)
from tensionlog.pulls.heads import HeadReader, reader_for
from tensionlog.pulls.manners import Manners
from tensionlog.pulls.measured import small_trace
from tensionlog.pulls.scale import guess_scale
from tensionlog.pulls.shape import Shape
from tensionlog.timeline import FaultSeen, Marked, Reading, Readings, Restart, Timeline, joined
from tensionlog.wire import LineDecoder, PlainDecoder

MOST_TOGETHER = 120
"""Stretches read together at most, so that memory stays flat in a sitting without jobs."""

EARLY = 10
"""Readings after which the device's clock has shown its rate."""

GROUP_NOTES = ("job-start", "job-end", "broke")
"""Notes after which another string, and so another law, may be on the bench."""


class Gatherer:
    """Takes a recording's items in order and keeps what it finds in them.

    Args:
        header: Of the recording.
        keep_traces: Whether the samples of each pull are wanted afterwards.

    Attributes:
        tap: Told of every batch of readings, faults and restarts as it comes, before
            anything is made of it; None where nobody listens.
    """

    def __init__(self, header: Header, *, keep_traces: bool = True) -> None:
        self.header = header
        self.timeline = Timeline(
            rate_hz=header.rate_hz,
            adc_bits=header.adc_bits,
            started_s=header.started.timestamp(),
            is_plain=header.is_plain,
            unit=header.unit,
        )
        self.windows = Windows(header)
        self.notes: list[tuple[Note, tuple[int, float]]] = []
        self.said: list[Note] = []
        self.warnings: list[str] = []
        self.marks: list[Marked] = []
        self.tap: Callable[[Sequence[object]], object] | None = None
        self._decoder = (
            LineDecoder() if header.pattern is None else PlainDecoder(header.pattern)
        )
        self._keep_traces = keep_traces
        self._reader: HeadReader = reader_for(header.head)
        self._finder: StretchFinder | None = None
        self._early: list[Reading] = []
        self._waiting: list[Stretch] = []
        self._kept: list[Kept] = []
        self._group_ends = False
        self._stretches = 0
        self.lesson = Lesson(self._reader, 0.0)

    @property
    def relaxes(self) -> bool:
        """Whether the string relaxes under this sitting's head."""
        return self._reader.relaxes

    @property
    def calibrated(self) -> bool:
        """Whether readings are newtons."""
        return self.timeline.carries_newtons or self.header.calibration is not None

    @property
    def stretches(self) -> int:
        """Times that the cell was loaded and let go so far."""
        return self._stretches

    def arrived(self, at_s: float) -> None:
        """Host time (UTC, s) at which the bytes that follow were read."""
        self.timeline.arrived(at_s)

    def feed(self, data: bytes) -> None:
        """Bytes of the device, cut anywhere."""
        self._take(self._decoder.feed(data))

    def feed_chunks(self, chunks: Chunks) -> None:
        """What many reads gave; the same as `arrived` and `feed` read by read."""
        if isinstance(self._decoder, LineDecoder):
            columns = self._decoder.columns(chunks.data)
            _, begins, at_s = chunks
            events = self.timeline.feed_columns(columns, begins=begins, at_s=at_s)
            self._take_events(list(joined(events)))
            return
        for item in chunks.apart():  # plain lines are timed read by read
            self.arrived(*item) if isinstance(item, Arrival) else self.feed(item)

    def note(self, note: Note) -> None:
        """An operator's note, in the order of the file."""
        sensible, left_out = usable(note)
        self.said.append(note)
        self.warnings += left_out
        self.notes.append((sensible, self.timeline.now))
        self.windows.note_seen(note.name)
        self._group_ends = self._group_ends or note.name in GROUP_NOTES

    def close(self) -> None:
        """The stream has ended; read what has gathered."""
        self._take(self._decoder.close())
        self._take_events(self.timeline.close())
        self._start_finder(last_chance=True)
        self._interrupt()
        self._kept.extend(self._read(self._waiting))
        self._waiting = []

    def kept(self) -> list[Kept]:
        """Pulls in order of time, the ones still gathering read with what is known."""
        return [*self._kept, *self._look(self._waiting)]

    def under_way(self) -> Kept | None:
        """The pull that the head holds now, read as far as it has come."""
        stretch = self._finder.under_way() if self._finder is not None else None
        read = self._look([*self._waiting, stretch]) if stretch is not None else []
        return read[-1] if read else None

    def _take(self, lines: list[DeviceLine]) -> None:
        self._take_events(self.timeline.feed(lines))

    def _take_events(self, events: Sequence[object]) -> None:
        if self.tap is not None:
            self.tap(events)
        finder, keeping = self._finder, self.windows.keeping
        for event in events:
            if type(event) is Reading:
                if finder is None or keeping:
                    self._push(event)
                    finder = self._finder
                    continue
                stretch = finder.push(*event)
                if stretch is not None:
                    self._found(stretch)
            elif type(event) is Readings:
                self._push_many(event)
                finder = self._finder
            elif isinstance(event, Restart):
                self._interrupt()
            elif isinstance(event, Marked):
                self.marks.append(event)
            elif isinstance(event, FaultSeen):
                self.windows.fault(event)

    def _push(self, reading: Reading) -> None:
        """One reading while the finder is not under way yet, or a test is kept whole."""
        if self.windows.keeping:
            self.windows.push(reading)
        if self._finder is None:
            self._early.append(reading)
            self._start_finder(last_chance=False)
            return
        stretch = self._finder.push(*reading)
        if stretch is not None:
            self._found(stretch)

    def _push_many(self, readings: Readings) -> None:
        if self.windows.keeping:
            self.windows.push_many(readings)
        (boot, t_s, counts), early = readings, 0
        while self._finder is None and early < len(t_s):
            self._early.append(Reading(boot, float(t_s[early]), int(counts[early])))
            self._start_finder(last_chance=False)
            early += 1
        if self._finder is not None:
            for stretch in self._finder.push_many(boot, t_s[early:], counts[early:]):
                self._found(stretch)

    def _interrupt(self) -> None:
        stretch = None if self._finder is None else self._finder.interrupt()
        if stretch is not None:
            self._found(stretch)

    def _found(self, stretch: Stretch) -> None:
        self._stretches += 1
        together = bool(self._waiting) and same_pull(self._waiting[-1], stretch)
        if not together and (self._group_ends or len(self._waiting) >= MOST_TOGETHER):
            self._kept.extend(self._read(self._waiting))
            self._waiting = []
            self._group_ends = False
        self._waiting.append(stretch)

    def _start_finder(self, *, last_chance: bool) -> None:
        """Begin to look for pulls once the scale is known, or has been guessed."""
        if self._finder is not None or not self._early:
            return
        rate_hz = self._early_rate_hz()
        scale = self._scale(rate_hz=rate_hz, last_chance=last_chance)
        if scale is None:
            return
        self._finder = StretchFinder(newtons_per_count=scale, rate_hz=rate_hz)
        early, self._early = self._early, []
        for reading in early:
            stretch = self._finder.push(*reading)
            if stretch is not None:
                self._found(stretch)

    def _early_rate_hz(self) -> float:
        """Samples per second by the first readings alone, so that cuts do not matter."""
        first = self._early[:EARLY]
        steps = np.diff([reading.t_s for reading in first if reading.boot == first[0].boot])
        nominal = self.header.rate_hz
        trusted = nominal is None or not self.header.is_plain  # arrivals come in bursts
        if trusted and len(steps) > 2 and np.median(steps) > 0.0:
            return float(1.0 / np.median(steps))
        return nominal or 80.0

    def _scale(self, *, rate_hz: float, last_chance: bool) -> float | None:
        if self.calibrated:
            if len(self._early) < EARLY and not last_chance:
                return None
            return self._calibration().newtons_per_count(self._early[0].counts)
        counts = np.array([reading.counts for reading in self._early])
        return guess_scale(counts, rate_hz=rate_hz, force=last_chance)

    def _calibration(self) -> Calibration:
        """Counts to the unit the sitting is read in; without one, counts stay counts."""
        if self.timeline.carries_newtons or self.header.calibration is None:
            return Calibration((0.0, 1.0))
        return self.header.calibration

    def _look(self, stretches: Sequence[Stretch]) -> list[Kept]:
        """Read what still gathers; what that teaches is forgotten, or looks would matter."""
        reader = self._reader
        self._reader = copy(reader)
        try:
            return self._read(stretches)
        finally:
            self._reader = reader

    def _read(self, stretches: Sequence[Stretch]) -> list[Kept]:
        """Read stretches together, with what they have in common."""
        outside = [s for s in stretches if self._is_strung(s)]
        shapes = [shape for _, shape in shapes_of(outside, calibration=self._calibration())]
        usual = usual_level(shapes)
        pulls = [s for s in shapes if is_pull(s, usual=self._expected(s, usual))]
        walk = zero_walk(pulls)
        made = [(shape, self._reader.manners(shape)) for shape in pulls]
        self._reader.learn(made, walk=walk)
        self.lesson = Lesson(self._reader, walk)
        return [self._kept_of(shape, manners, walk) for shape, manners in made]

    def _kept_of(self, shape: Shape, manners: Manners, walk: float) -> Kept:
        measured, lever = read_pull(
            shape, manners, reader=self._reader, walk=walk, marks=self.marks
        )
        trace = small_trace(shape) if self._keep_traces else None
        return Kept(measured=measured, trace=trace, law=self._reader.law, lever=lever)

    def _is_strung(self, stretch: Stretch) -> bool:
        """Whether a stretch can be a pull: masses and hold tests load the cell as well."""
        if not self.windows.keeping:
            return True
        t_s = self.timeline.seconds(stretch.boot, float(stretch.t_s[stretch.first]))
        return not self.windows.is_test(t_s, self.timed_notes())

    def _expected(self, shape: Shape, usual: float) -> float:
        """Level that a pull should come to here: the dial's where a head check runs."""
        if not self.calibrated or not self.windows.keeping:
            return usual
        t_s = self.timeline.seconds(shape.boot, float(shape.t[shape.start]))
        dialled = self.windows.dialled(t_s, self.timed_notes())
        return usual if dialled is None else dialled.set_n

    def timed_notes(self) -> list[tuple[float, Note]]:
        """Notes with the recording's seconds at which they act, in order of time."""
        timed = [
            (self.timeline.seconds(*self.timeline.at_device(note.at_s, near=near)), note)
            for note, near in self.notes
        ]
        return sorted(timed, key=lambda pair: pair[0])
