"""A sitting as a whole: what was gathered, put in its place and judged.

Places are given by walking pulls and notes in order of time, anew at every look while a
sitting is live: the walk is cheap, and so live and replay cannot differ.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tensionlog.model.job import Job
from tensionlog.model.pull import Pull, Trace
from tensionlog.model.recording import Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger, Levers
from tensionlog.pipeline.gather import Gatherer
from tensionlog.pipeline.judge import Bench, Timed, judge_pulls
from tensionlog.pipeline.kept import Kept, Lesson
from tensionlog.pipeline.lever import lever_release, levers_of
from tensionlog.pipeline.losses import PHI_MAX_UNMEASURED
from tensionlog.pipeline.runs import job_runs
from tensionlog.pipeline.tests import read_tests
from tensionlog.pipeline.trouble import TELLS_RATE_AFTER, off_rate
from tensionlog.pipeline.windows import Tests
from tensionlog.plan import Placed, Step, place_pulls
from tensionlog.pulls.measured import SmallTrace

RULE = "pulls-1"
"""Name of the rule that finds and reads pulls; it changes when its numbers change."""

PROTO = 1
"""The version of the wire that is read here."""

OWN_NOTES = ("redo", "mark", "next")
"""Buttons of the device that are notes by themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """A sitting as it stands.

    Attributes:
        header: As recorded.
        found: Pulls in order of time, those of head checks left out.
        jobs: Tickets in order.
        runs: What holds for each job.
        ledger: What the line lost.
        notes: Notes in the order of the file.
        tests: Check, hold test, head, turn and stiffness, as answers.
        warnings: One line each.
        boot_starts_s: Start of each boot on the recording's axis, seconds.
        drift_ppm: How fast the device's clock runs against the host's, or None.
        levers: How good the estimate of the release is, where levers marked any.
    """

    header: Header
    found: tuple[Found, ...]
    jobs: tuple[Job, ...]
    runs: tuple[JobRun, ...]
    ledger: Ledger
    notes: tuple[Note, ...]
    tests: Tests
    warnings: tuple[str, ...]
    boot_starts_s: tuple[float, ...]
    drift_ppm: float | None = None
    levers: Levers | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What the latest look read the pulls by, for whoever reads one more.

    Attributes:
        timed: Pulls as measured, in order of time.
        bench: What holds for all of them.
        lesson: The head's reader as these pulls have taught it.
    """

    timed: tuple[Timed, ...]
    bench: Bench
    lesson: Lesson


class Sitting:
    """Feed it in the order of the recording; ask it at any time.

    Args:
        header: Of the recording.
        phi_max: Upper limit of what passes round this bench's frames, where measured.
        keep_traces: Whether the samples of each pull are wanted afterwards.
    """

    def __init__(
        self, header: Header, *, phi_max: float | None = None, keep_traces: bool = True
    ) -> None:
        self.header = header
        self._gathered = Gatherer(header, keep_traces=keep_traces)
        self._phi_max = phi_max
        self.looked: Looked | None = None
        self.arrived = self._gathered.arrived
        self.feed = self._gathered.feed
        self.feed_chunks = self._gathered.feed_chunks
        self.note = self._gathered.note
        self.close = self._gathered.close

    def listen(self, tap: Callable[[Sequence[object]], object]) -> None:
        """Have readings, faults and restarts told as they come, in batches."""
        self._gathered.tap = tap

    def seconds(self, boot: int, t_s: float) -> float:
        """A reading's time on the recording's axis, seconds from its first sample."""
        return self._gathered.timeline.seconds(boot, t_s)

    @property
    def carries_newtons(self) -> bool:
        """Whether readings are newtons as they come (plain dialect with a unit)."""
        return self._gathered.timeline.carries_newtons

    @property
    def timeline_rate_hz(self) -> float | None:
        """Samples per second as the device's clock has it."""
        return self._gathered.timeline.rate_hz

    @property
    def ledger(self) -> Ledger:
        """What the line lost so far."""
        return self._gathered.timeline.ledger()

    @property
    def changes(self) -> int:
        """Rises whenever `whole` may have another pull, or one in another place."""
        gathered = self._gathered
        return gathered.stretches + len(gathered.notes) + len(gathered.marks)

    def whole(self, *, tests: bool = True) -> Whole:
        """Everything as it stands now.

        Args:
            tests: Whether checks and hold tests are read as well; while they are still
                on that costs much and tells nothing.
        """
        kept = sorted(self._gathered.kept(), key=self._start_s)
        notes = self._gathered.timed_notes()
        timed = [timed_of(k, self._gathered.timeline.seconds) for k in kept]
        placed, jobs = place_pulls(self._steps(timed, notes), len(timed))
        bench = self._bench(kept)
        pulls = judge_pulls(timed, placed, jobs, bench)
        self.looked = Looked(timed=tuple(timed), bench=bench, lesson=self._gathered.lesson)
        dialled = [self._gathered.windows.dialled(t.start_s, notes) for t in timed]
        strung = [i for i, setting in enumerate(dialled) if setting is None]
        read = read_tests(self._gathered, pulls=pulls, dialled=dialled) if tests else Tests()
        found = [self._found(n, pulls[i], placed[i], kept[i]) for n, i in enumerate(strung, 1)]
        return Whole(
            header=self.header,
            found=tuple(found),
            jobs=tuple(jobs),
            runs=tuple(
                job_runs(
                    jobs=jobs,
                    notes=notes,
                    pulls=pulls,
                    placed=placed,
                    laws=[k.law for k in kept],
                    phi_max=self._phi(),
                    phi_measured=self._phi_max is not None,
                )
            ),
            ledger=self._gathered.timeline.ledger(),
            notes=tuple(self._gathered.said),
            tests=read,
            warnings=(*self._warnings(), *read.problems),
            boot_starts_s=self._boot_starts(kept),
            drift_ppm=self._drift_ppm(),
            levers=levers_of(found),
        )

    def _found(self, number: int, pull: Pull, place: Placed, kept: Kept) -> Found:
        axis_s = self._gathered.timeline.seconds(kept.measured.boot, 0.0)
        return Found(
            number=number,
            job_number=place.job_number,
            bed=place.bed,
            pull=pull,
            trace=_trace(kept.trace),
            rule=RULE,
            lever=lever_release(kept.lever, axis_s=axis_s),
        )

    def _start_s(self, kept: Kept) -> float:
        return self._gathered.timeline.seconds(kept.measured.boot, kept.measured.start_t)

    def _steps(self, timed: Sequence[Timed], notes: Sequence[tuple[float, Note]]) -> list[Step]:
        steps = [Step(at_s=at_s, name=note.name, body=note.body) for at_s, note in notes]
        seconds = self._gathered.timeline.seconds
        steps += [
            Step(at_s=seconds(mark.boot, mark.t_s), name=mark.name)
            for mark in self._gathered.marks
            if mark.name in OWN_NOTES
        ]
        steps += [
            Step(at_s=pull.start_s, pull=index, let_off_s=pull.let_off_s)
            for index, pull in enumerate(timed)
        ]
        return sorted(steps, key=lambda step: step.at_s)

    def _bench(self, kept: Sequence[Kept]) -> Bench:
        return Bench(
            calibrated=self._gathered.calibrated,
            tail_m=self.header.tail_m,
            phi_max=self._phi(),
            relaxes=self._gathered.relaxes,
            laws=tuple(k.law for k in kept),
        )

    def _phi(self) -> float:
        return PHI_MAX_UNMEASURED if self._phi_max is None else self._phi_max

    def _warnings(self) -> tuple[str, ...]:
        left_out = (*self._gathered.warnings, *self._about_rate(), *self._about_wire())
        if self._gathered.calibrated or not self.ledger.samples:
            return left_out
        return (
            *left_out,
            "no calibration in the recording: forces are not known, readings are answered "
            "as counts. Do the morning check and record again, or give a calibration.",
        )

    def _about_wire(self) -> tuple[str, ...]:
        proto = self._gathered.timeline.proto
        if proto is None or proto == PROTO:
            return ()
        return (
            f"the device speaks version {proto} of the wire and this tensionlog version "
            f"{PROTO}: what it says otherwise than that is not understood. Ask "
            "'tensionlog device identify' what to do.",
        )

    def _about_rate(self) -> tuple[str, ...]:
        off = None
        if self.ledger.samples >= TELLS_RATE_AFTER and not self.header.is_plain:
            off = off_rate(rate_hz=self.timeline_rate_hz, stated_hz=self.header.rate_hz)
        if off is None:
            return ()
        return (
            f"the device gives {off.rate_hz:.1f} samples/s, the set-up says "
            f"{off.stated_hz:g}. Times are right all the same; correct the set-up.",
        )

    def _drift_ppm(self) -> float | None:
        drift = self._gathered.timeline.drift_ppm()
        return None if drift is None else drift.ppm

    def _boot_starts(self, kept: Sequence[Kept]) -> tuple[float, ...]:
        last = max([self._gathered.timeline.now[0], *(k.measured.boot for k in kept)])
        return tuple(self._gathered.timeline.seconds(boot, 0.0) for boot in range(last + 1))


def timed_of(kept: Kept, seconds: Callable[[int, float], float]) -> Timed:
    """Put a reading's times on the recording's own axis, which `seconds` gives."""
    measured, boot = kept.measured, kept.measured.boot

    def axis(t: float | None) -> float | None:
        return None if t is None else seconds(boot, t)

    return Timed(
        measured=measured,
        start_s=seconds(boot, measured.start_t),
        top_s=seconds(boot, measured.top_t),
        release_s=axis(measured.release_t),
        shut_s=seconds(boot, measured.shut_t),
        let_off_s=axis(measured.let_off_t),
    )


def _trace(small: SmallTrace | None) -> Trace:
    import numpy as np

    if small is None:
        return Trace(0, np.empty(0), np.empty(0))
    return Trace(small.boot, small.t_us / 1e6, small.counts.astype(np.float64))
