"""A measured pull and its place in the bed make the `Pull` that is answered and stored."""

from collections.abc import Mapping, Sequence
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
from tensionlog.pulls.lockout import Law
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
    """A string as it was given to its clamp."""

    reading: float
    top_s: float
    shut_s: float


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
    handed: dict[tuple[int, int, str], _HandedOff] = {}
    judged = []
    for pull, place, known in zip(pulls, placed, bench.laws, strict=True):
        job = None if place.job_number is None else jobs[place.job_number - 1]
        behind = None
        if place.job_number is not None and place.held_position is not None:
            behind = handed.get((place.job_number, place.bed, place.held_position))
        judged.append(_judged(pull, place, job, bench, known, behind))
        if place.job_number is not None and place.position is not None:
            given = _handed_off(pull, place)
            if given is not None:
                handed[place.job_number, place.bed, place.position] = given
    return judged


def _handed_off(pull: Timed, place: Placed) -> _HandedOff | None:
    hold = pull.measured.hold
    if hold is None or (place.void and place.clamp_shut is None):
        return None
    return _HandedOff(reading=hold.release, top_s=pull.top_s, shut_s=pull.shut_s)


def _judged(
    pull: Timed,
    place: Placed,
    job: Job | None,
    bench: Bench,
    known: Law | None,
    behind: _HandedOff | None,
) -> Pull:
    measured, hold = pull.measured, pull.measured.hold
    target = None
    if job is not None and place.position is not None and bench.calibrated:
        target = job.target_n(place.position)
    to_look_for = place.clamp_opened is not None or job is None
    seen = bool(hold and hold.seen and to_look_for)
    lost = _lost(pull, place, job, bench, known or UNKNOWN_LAW, behind) if seen else None
    reading_s = pull.release_s if seen and pull.release_s is not None else pull.shut_s
    return Pull(
        kind=place.kind,
        unit="N" if bench.calibrated else "counts",
        position=place.position,
        held_position=place.held_position,
        void=place.void,
        target=target,
        start_s=pull.start_s,
        top_s=pull.top_s,
        release_s=pull.release_s if seen else None,
        let_off_s=pull.let_off_s,
        peak=measured.peak,
        top=hold.top if hold else None,
        at_3s=hold.at_3s if hold else None,
        expected=_expected(
            target, reading_s - pull.top_s, (known or Law()) if bench.relaxes else None
        ),
        release=hold.release if hold else None,
        drop=hold.drop if hold and to_look_for else None,
        drop_u=hold.u_drop if hold and to_look_for else None,
        seen=seen,
        clamp_opened=place.clamp_opened,
        clamp_shut=place.clamp_shut,
        at_least_lost=lost,
        at_least_give_mm=_give(lost, place, job),
        held=_held(pull, place, job, bench) if place.kind == "lift-off" else None,
        idle=measured.idle,
        release_u=_u_release(measured),
        noise=measured.noise,
        relaxation=hold.share if hold and bench.relaxes else None,
        flags=_flags(measured, place, job, to_look_for=to_look_for),
    )


def _u_release(measured: Measured) -> float | None:
    if measured.hold is None:
        return None
    return float((measured.hold.u_release**2 + measured.u_zero**2) ** 0.5)


def _expected(target: float | None, after_s: float, law: Law | None) -> float | None:
    """Target as this head and dwell would leave it; `law` is None where it holds the force."""
    if target is None or law is None:
        return target
    gone = relaxed(share=law.share, tau_s=law.tau_s, from_s=0.0, to_s=after_s)
    return target * (1.0 - gone)


def _spans(place: Placed, job: Job | None, bench: Bench) -> Spans | None:
    if job is None or place.position is None or place.held_position is None:
        return None
    held, pulled = job.spans_m.get(place.held_position), job.spans_m.get(place.position)
    if not held or not pulled or bench.tail_m is None:
        return None
    return Spans(held_m=held, pulled_m=pulled, tail_m=bench.tail_m)


def _lost(
    pull: Timed,
    place: Placed,
    job: Job | None,
    bench: Bench,
    law: Law,
    behind: _HandedOff | None,
) -> float | None:
    """Newtons that the held span had lost at least; never below zero."""
    hold, spans = pull.measured.hold, _spans(place, job, bench)
    unusable = place.kind != "pull" or not bench.calibrated
    if unusable or hold is None or hold.drop is None or spans is None or behind is None:
        return None
    release_s = pull.release_s if pull.release_s is not None else pull.shut_s
    # A head that holds its force starts the string's relaxation anew when the clamp is
    # shut; under a lockout the clock has run on since the top.
    origin = behind.top_s
    gone = relaxed(
        share=law.share,
        tau_s=law.tau_s,
        from_s=behind.shut_s - origin,
        to_s=release_s - origin,
    )
    lost = at_least_lost(
        handed_off=behind.reading,
        relaxed_n=behind.reading * gone,
        top=hold.top,
        drop=hold.drop,
        phi=bench.phi_max,
        spans=spans,
    )
    return max(lost, 0.0)


def _give(lost: float | None, place: Placed, job: Job | None) -> float | None:
    if lost is None or job is None or place.held_position is None:
        return None
    ea, span = job.ea_n(place.held_position), job.spans_m.get(place.held_position)
    if ea is None or not span:
        return None
    return millimetres(force_n=lost, span_m=span, ea_n=ea)


def _held(pull: Timed, place: Placed, job: Job | None, bench: Bench) -> float | None:
    hold, spans = pull.measured.hold, _spans(place, job, bench)
    if hold is None or hold.drop is None or spans is None or not bench.calibrated:
        return None
    if not hold.seen:  # hidden by the exit grommet: a bound at best, no reading
        return None
    return lift_off_force(top=hold.top, drop=hold.drop, spans=spans)


def _flags(
    measured: Measured, place: Placed, job: Job | None, *, to_look_for: bool
) -> tuple[str, ...]:
    flags = set(measured.manners)
    if job is not None and not to_look_for and not place.beyond_plan:
        flags.add("no-release")
    if measured.cut or measured.longest_gap > LONGEST_GAP_S:
        flags.add("interrupted")
    unmeasured = measured.hold is None or measured.hold.drop is None
    if to_look_for and job is not None and not measured.cut and unmeasured:
        flags.add("not-measurable")
    if place.beyond_plan:
        flags.add("beyond-plan")
    return tuple(flag for flag in FLAGS if flag in flags)


def by_position(pulls: Sequence[Pull]) -> Mapping[str, Pull]:
    """The pull that counts at each position: the last one that is not void."""
    return {p.position: p for p in pulls if p.position and not p.void and p.kind == "pull"}
