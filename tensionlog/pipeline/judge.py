"""A measured pull and its place in the bed make the `Pull` that is answered and stored."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tensionlog.model.job import Job
from tensionlog.model.pull import FLAGS, Pull
from tensionlog.pipeline.losses import (
    Spans,
    at_least_lost,
    lift_off_force,
    millimetres,
    relaxed,
)
from tensionlog.plan import Placed
from tensionlog.pulls.hold import Hold, Law
from tensionlog.pulls.measured import Measured

UNKNOWN_LAW = replace(Law(), share=Law().share + Law().u_share)
"""Where the head does not show the string's relaxation, the bound on what a clamp lost is
kept a bound by granting the string more of it than most strings need."""

LONGEST_GAP_S = 0.5
"""A hold with a longer hole in it was interrupted: a release could lie in the hole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A measured pull with its times on the recording's own axis, in seconds.

    Attributes:
        measured: The numbers of the trace.
        start_s: First sample of the lasting rise.
        top_s: First sample at 98 % of the settled level.
        release_s: When the force begins to fall, or None.
        shut_s: When the clamp is taken to be shut.
        let_off_s: Last sample before the head lets go, or None.
    """

    measured: Measured
    start_s: float
    top_s: float
    release_s: float | None
    shut_s: float
    let_off_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What holds for every pull of a sitting.

    Attributes:
        calibrated: Whether readings are newtons.
        tail_m: Length of string from frame to gripper, or None.
        phi_max: Upper limit of what passes round the frame.
        relaxes: Whether the string relaxes under this head.
        laws: The string's relaxation as the head showed it, one for each pull.
    """

    calibrated: bool
    tail_m: float | None
    phi_max: float
    relaxes: bool
    laws: tuple[Law | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _HandedOff:
    """A string as it was given to its clamp.

    Attributes:
        reading: Its own settled reading.
        reading_s: The moment that the reading is of; from there on it relaxes.
        top_s: Where its relaxation began.
    """

    reading: float
    reading_s: float
    top_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """A pull with everything that it is judged by.

    Attributes:
        pull: As measured.
        place: Where it belongs.
        job: Its ticket, or None outside a job.
        bench: What holds for the sitting.
        law: The string's relaxation as the head showed it, or None.
        behind: The string behind as it was handed to its clamp, or None.
    """

    pull: Timed
    place: Placed
    job: Job | None
    bench: Bench
    law: Law | None
    behind: _HandedOff | None

    @property
    def hold(self) -> Hold | None:
        """What the head's reader made of the hold."""
        return self.pull.measured.hold

    @property
    def has_release(self) -> bool:
        """Whether there is a release to look for: something lies behind a clamp."""
        return self.job is None or self.place.held_position is not None

    @property
    def seen(self) -> bool:
        """Whether a release was looked for and told from zero."""
        return self.has_release and self.hold is not None and self.hold.seen

    @property
    def reading_s(self) -> float:
        """The moment that the reading at clamp release is of."""
        return self.pull.shut_s if self.pull.release_s is None else self.pull.release_s

    @property
    def target(self) -> float | None:
        """What the ticket orders here."""
        if self.job is None or self.place.position is None or not self.bench.calibrated:
            return None
        return self.job.target_n(self.place.position)

    @property
    def spans(self) -> Spans | None:
        """Lengths around the clamp that is opened, where they are known."""
        job, place = self.job, self.place
        if job is None or place.position is None or place.held_position is None:
            return None
        held, pulled = job.spans_m.get(place.held_position), job.spans_m.get(place.position)
        if not held or not pulled or self.bench.tail_m is None:
            return None
        return Spans(held_m=held, pulled_m=pulled, tail_m=self.bench.tail_m)


def judge_pulls(
    pulls: Sequence[Timed], placed: Sequence[Placed], jobs: Sequence[Job], bench: Bench
) -> list[Pull]:
    """Judge every pull of a sitting, in order of time.

    Args:
        pulls: As measured.
        placed: Their places, one each.
        jobs: Tickets, by `Placed.job_number`.
        bench: What holds for all.
    """
    handed: dict[tuple[int | None, str | None], _HandedOff] = {}
    judged = []
    for pull, place, law in zip(pulls, placed, bench.laws, strict=True):
        number = place.job_number
        case = _Case(
            pull=pull,
            place=place,
            job=None if number is None else jobs[number - 1],
            bench=bench,
            law=law,
            behind=handed.get((number, place.held_position)),
        )
        judged.append(_judged(case))
        given = _handed_off(case)
        if given is not None:
            handed[number, place.position] = given
    return judged


def _handed_off(case: _Case) -> _HandedOff | None:
    """The string as its clamp took it; None where none did."""
    place = case.place
    if case.hold is None or place.position is None or (place.void and not place.clamp_shut):
        return None
    # Under a lockout it has relaxed since it was read; other heads hold it until the clamp.
    reading_s = case.reading_s if case.bench.relaxes else case.pull.shut_s
    return _HandedOff(reading=case.hold.release, reading_s=reading_s, top_s=case.pull.top_s)


def _judged(case: _Case) -> Pull:
    pull, place, hold, seen = case.pull, case.place, case.hold, case.seen
    looked_at = hold if case.has_release else None
    lost = _lost(case) if seen else None
    return Pull(
        kind=place.kind,
        unit="N" if case.bench.calibrated else "counts",
        position=place.position,
        held_position=place.held_position,
        void=place.void,
        target=case.target,
        start_s=pull.start_s,
        top_s=pull.top_s,
        release_s=pull.release_s if seen else None,
        let_off_s=pull.let_off_s,
        peak=pull.measured.peak,
        top=None if hold is None else hold.top if seen else hold.release,
        at_3s=hold.at_3s if hold else None,
        expected=_expected(case),
        release=hold.release if hold else None,
        drop=looked_at.drop if looked_at else None,
        drop_u=looked_at.u_drop if looked_at else None,
        seen=seen,
        clamp_opened=place.clamp_opened,
        clamp_shut=place.clamp_shut,
        at_least_lost=lost,
        at_least_give_mm=_give(lost, case),
        held=_held(case) if place.kind == "lift-off" else None,
        idle=pull.measured.idle,
        release_u=_u_release(pull.measured),
        noise=pull.measured.noise,
        relaxation=hold.share if hold and case.bench.relaxes else None,
        flags=_flags(case),
    )


def _u_release(measured: Measured) -> float | None:
    if measured.hold is None:
        return None
    return float((measured.hold.u_release**2 + measured.u_zero**2) ** 0.5)


def _expected(case: _Case) -> float | None:
    """Target as this head, string and dwell would leave it."""
    if case.target is None or not case.bench.relaxes:
        return case.target
    law = case.law or Law()
    dwell_s = case.reading_s - case.pull.top_s
    gone = relaxed(share=law.share, tau_s=law.tau_s, from_s=0.0, to_s=dwell_s)
    return case.target * (1.0 - gone)


def _lost(case: _Case) -> float | None:
    """Newtons that the held span had lost at least; never below zero."""
    hold, spans, behind = case.hold, case.spans, case.behind
    if case.place.kind != "pull" or not case.bench.calibrated:
        return None
    if hold is None or hold.drop is None or spans is None or behind is None:
        return None
    law = case.law or UNKNOWN_LAW
    read_s, now_s = behind.reading_s - behind.top_s, case.reading_s - behind.top_s
    before = relaxed(share=law.share, tau_s=law.tau_s, from_s=0.0, to_s=read_s)
    since = relaxed(share=law.share, tau_s=law.tau_s, from_s=read_s, to_s=now_s)
    at_top = behind.reading / (1.0 - before) if case.bench.relaxes else behind.reading
    lost = at_least_lost(
        handed_off=behind.reading,
        relaxed_n=at_top * since,
        top=hold.top,
        drop=hold.drop,
        phi=case.bench.phi_max,
        spans=spans,
    )
    return max(lost, 0.0)


def _give(lost: float | None, case: _Case) -> float | None:
    held = case.place.held_position
    if lost is None or case.job is None or held is None:
        return None
    ea, span = case.job.ea_n(held), case.job.spans_m.get(held)
    if ea is None or not span:
        return None
    return millimetres(force_n=lost, span_m=span, ea_n=ea)


def _held(case: _Case) -> float | None:
    hold, spans = case.hold, case.spans
    if hold is None or hold.drop is None or spans is None or not case.bench.calibrated:
        return None
    if not hold.seen:  # hidden by the exit grommet: a bound at best, no reading
        return None
    return lift_off_force(top=hold.top, drop=hold.drop, spans=spans)


def _flags(case: _Case) -> tuple[str, ...]:
    measured, place = case.pull.measured, case.place
    flags = set(measured.manners)
    if "straightened" in flags and place.position and place.position[0] != "X":
        # Mains are not woven: what comes up and goes back was a second crank.
        flags -= {"straightened"}
        flags |= {"worked-twice"} if case.bench.relaxes else set()
    if not case.has_release and not place.beyond_plan:
        flags.add("no-release")
    if measured.cut or measured.longest_gap > LONGEST_GAP_S:
        flags.add("interrupted")
    unmeasured = measured.hold is None or measured.hold.drop is None
    if case.job is not None and case.has_release and unmeasured and not measured.cut:
        flags.add("not-measurable")
    if place.beyond_plan:
        flags.add("beyond-plan")
    return tuple(flag for flag in FLAGS if flag in flags)
