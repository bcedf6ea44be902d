"""The fast look at a sitting: what the cell reads now, which pulls there were, what is next.

A sitting as a whole takes up to seconds to read, since the pulls of a job are read
together. A page at the bench cannot wait: this object is fed the same items, finds the
same stretches, and reads the one pull under way by what the slow reading has taught. Its
numbers give way to those of the slow reading as soon as these are there.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from tensionlog.model.job import Job
from tensionlog.model.recording import Header, Note
from tensionlog.pipeline.gather import Gatherer
from tensionlog.pipeline.judge import Timed
from tensionlog.pipeline.kept import Kept, Lesson
from tensionlog.pipeline.lever import read_pull
from tensionlog.pipeline.sitting import OWN_NOTES, timed_of
from tensionlog.plan import Placed, Step, place_pulls
from tensionlog.pulls.finder import Stretch
from tensionlog.pulls.group import is_pull, same_pull, shapes_of, usual_level
from tensionlog.pulls.shape import Shape
from tensionlog.timeline import Marked, Reading

LIVE_PUSH_S = 0.02
"""The end of a hold under way is believed nearly to the last sample: no clamp pushes yet."""

AVERAGED_S = 0.06
"""The number shown is the mean of so long: a single sample's noise makes it restless."""

SETTLED_S = 0.045
FALL_S, BEFORE_S, HELD_SHARE = 0.06, 0.40, 0.7
"""A release: what is read now has stood for twice the first time, below what was read
before a fall of the second, and is still this share of it."""

SHOWN_S = 20.0
"""Of the trace under way so much is kept for the page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lap:
    """A pull in its place, as the fast look has it.

    Attributes:
        start_s: Seconds of the recording's axis.
        let_off_s: The same; None while the head holds, or where the stream broke off.
        place: Where it belongs.
    """

    start_s: float
    let_off_s: float | None
    place: Placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a sitting stands by its pulls and notes.

    Attributes:
        laps: Pulls in order, the one under way last.
        jobs: Tickets in order.
        next_place: Where the next pull belongs; None outside a job.
        is_loaded: Whether a pull is under way.
    """

    laps: tuple[Lap, ...]
    jobs: tuple[Job, ...]
    next_place: Placed | None
    is_loaded: bool


class _Mean(NamedTuple):
    mean: float
    step: float
    n: int


class Quick(Gatherer):
    """Fed like a sitting; answers within milliseconds."""

    def __init__(self, header: Header) -> None:
        super().__init__(header, keep_traces=False)
        self.recent: list[tuple[float, float]] = []
        self._runs: list[list[Stretch]] = []
        self._shapes: list[Shape | None] = []
        self._stood: tuple[tuple[float | None, ...], Standing] | None = None

    # -- what comes ------------------------------------------------------------------

    def _take_events(self, events: Sequence[object]) -> None:
        super()._take_events(events)
        readings = [e for e in events if type(e) is Reading]
        if not readings:
            return
        seconds = self.timeline.seconds
        forces = self._calibration().force_n([r.counts for r in readings])
        self.recent += [
            (seconds(r.boot, r.t_s), float(f)) for r, f in zip(readings, forces, strict=True)
        ]
        horizon = self.recent[-1][0] - SHOWN_S
        if self.recent[0][0] < horizon - 5.0:
            self.recent = [pair for pair in self.recent if pair[0] >= horizon]

    def _found(self, stretch: Stretch) -> None:
        """A stretch is over; one worked twice belongs to the pull before it."""
        self._stretches += 1
        if self._runs and same_pull(self._runs[-1][-1], stretch):
            self._runs[-1].append(stretch)
            self._shapes.pop()
        else:
            self._runs.append([stretch])
        told = shapes_of(self._runs[-1], calibration=self._calibration())
        self._shapes.append(told[-1][1] if told else None)

    def listen(self, tap: Callable[[Sequence[object]], object]) -> None:
        """Have readings, faults and restarts told as they come, in batches."""
        self.tap = tap

    # -- what is known ---------------------------------------------------------------

    def seconds(self, boot: int, t_s: float) -> float:
        """A reading's time on the recording's axis, seconds from its first sample."""
        return self.timeline.seconds(boot, t_s)

    @property
    def samples(self) -> int:
        """Valid samples so far."""
        return self.timeline.samples

    @property
    def carries_newtons(self) -> bool:
        """Whether readings are newtons as they come (plain dialect with a unit)."""
        return self.timeline.carries_newtons

    @property
    def now_s(self) -> float:
        """Time of the latest reading on the recording's axis, seconds."""
        return self.timeline.seconds(*self.timeline.now)

    @property
    def is_loaded(self) -> bool:
        """Whether the cell is loaded."""
        return self._finder is not None and self._finder.loaded

    @property
    def idle(self) -> float | None:
        """The running empty reading, by the calibration in force; None before it is known."""
        base = None if self._finder is None else self._finder.base
        return None if base is None else float(self._calibration().force_n(base))

    def level(self) -> float | None:
        """What the cell reads now above empty; None before the first reading."""
        if not self.recent:
            return None
        since = self.recent[-1][0] - AVERAGED_S
        last = [force for t, force in self.recent[-200:] if t >= since]
        return sum(last) / len(last) - (self.idle or 0.0)

    def has_stepped(self) -> bool:
        """Whether the force has stepped down, and stays: worth a closer look.

        As the head lets off it falls on and on; after a release it stands again.
        """
        latest = self._latest()
        if latest is None:
            return False
        before, settled, last = latest
        fallen = before.mean - min(settled.mean, last.mean)  # a motor makes it good at once
        noise = before.step * (before.n**-0.5 + last.n**-0.5)
        return fallen > noise and self._stands(*latest)

    def stands(self) -> bool:
        """Whether what is read now has stood for a moment: the head does not let off."""
        latest = self._latest()
        return latest is not None and self._stands(*latest)

    def _stands(self, before: "_Mean", settled: "_Mean", last: "_Mean") -> bool:
        idle = self.idle or 0.0
        stays = settled.mean - last.mean < 3.0 * before.step
        return stays and last.mean - idle > HELD_SHARE * (before.mean - idle)

    def _latest(self) -> "tuple[_Mean, _Mean, _Mean] | None":
        """What was read before a fall, after it, and after that; None too early."""
        window_s = max(SETTLED_S, 3.0 / (self.timeline.rate_hz or 80.0))
        end = self.recent[-1][0] if self.recent else 0.0
        last = self._means(end - window_s, end)
        settled = self._means(end - 2.0 * window_s, end - window_s)
        before = self._means(end - BEFORE_S - 2.0 * window_s, end - 2.0 * window_s - FALL_S)
        if last is None or settled is None or before is None:
            return None
        return before, settled, last

    def _means(self, from_s: float, to_s: float) -> "_Mean | None":
        """Mean and usual step from sample to sample in a stretch of the latest readings."""
        part = [force for t, force in self.recent[-600:] if from_s < t <= to_s]
        if len(part) < 2:
            return None
        steps = sorted(abs(b - a) for a, b in pairwise(part))
        return _Mean(sum(part) / len(part), max(steps[len(steps) // 2], 1e-9), len(part))

    def standing(self) -> Standing:
        """Pulls in their places, and the place of the next; the same until one changes."""
        under = self._under_way_from()
        known_by = (self._stretches, len(self.notes), len(self.marks), under)
        if self._stood is None or self._stood[0] != known_by:
            self._stood = known_by, self._standing(under)
        return self._stood[1]

    def _standing(self, under: float | None) -> Standing:
        shapes = self._pulls()
        steps = [self._step(shape, n) for n, shape in enumerate(shapes)]
        if under is not None:
            steps.append(Step(at_s=under, pull=len(steps)))
        made = len(steps)
        # One pull more than there are: where it would go is where the next one goes.
        coming = Step(at_s=float("inf"), pull=made)
        ordered = sorted([*steps, *self._note_steps()], key=lambda step: step.at_s)
        placed, jobs = place_pulls([*ordered, coming], made + 1)
        laps = [
            Lap(start_s=step.at_s, let_off_s=step.let_off_s, place=placed[n])
            for n, step in enumerate(steps)
        ]
        next_place = placed[-1] if placed[-1].job_number is not None else None
        return Standing(
            laps=tuple(laps),
            jobs=tuple(jobs),
            next_place=next_place,
            is_loaded=under is not None,
        )

    def last_shape(self) -> Shape | None:
        """The pull that was let off last."""
        shapes = self._pulls()
        return shapes[-1] if shapes else None

    def shape_under_way(self) -> Shape | None:
        """The hold under way with its landmarks; None where none has come to its top."""
        stretch = self._finder.under_way() if self._finder is not None else None
        if stretch is None:
            return None
        told = shapes_of([stretch], calibration=self._calibration())
        return replace(told[-1][1], push_s=LIVE_PUSH_S) if told else None

    def read(self, shape: Shape, lesson: Lesson) -> Kept:
        """Read one pull by what the others have taught."""
        manners = lesson.reader.manners(shape)
        measured, lever = read_pull(
            shape, manners, reader=lesson.reader, walk=lesson.walk, marks=self.marks
        )
        return Kept(measured=measured, trace=None, law=lesson.reader.law, lever=lever)

    def timed(self, kept: Kept) -> Timed:
        """A reading with its times on the recording's axis."""
        return timed_of(kept, self.timeline.seconds)

    def _pulls(self) -> list[Shape]:
        shapes = [shape for shape in self._shapes if shape is not None]
        usual = usual_level(shapes)
        return [s for s in shapes if is_pull(s, usual=self._expected(s, usual))]

    def _under_way_from(self) -> float | None:
        """When the stretch under way began, once it is high enough to be a pull."""
        if not self.is_loaded or self._finder is None:
            return None
        stretch = self._finder.under_way()
        if stretch is None:
            return None
        t_s = self.timeline.seconds(stretch.boot, float(stretch.t_s[stretch.first]))
        if not self._is_strung(stretch):
            return None
        return t_s

    def _step(self, shape: Shape, number: int) -> Step:
        seconds = self.timeline.seconds
        let_off = None if shape.cut else seconds(shape.boot, float(shape.t[shape.let_off]))
        start = seconds(shape.boot, float(shape.t[shape.start]))
        return Step(at_s=start, pull=number, let_off_s=let_off)

    def _note_steps(self) -> list[Step]:
        notes: list[tuple[float, Note]] = self.timed_notes()
        steps = [Step(at_s=at_s, name=note.name, body=note.body) for at_s, note in notes]
        return steps + [self._mark(m) for m in self.marks if m.name in OWN_NOTES]

    def _mark(self, mark: Marked) -> Step:
        return Step(at_s=self.timeline.seconds(mark.boot, mark.t_s), name=mark.name)
