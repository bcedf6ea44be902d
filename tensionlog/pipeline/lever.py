"""Releases that a switch on a clamp's lever marks, used in place of the estimate.

The trace alone must look for the release among some hundred moments. A lever says which
one it was: the step is then measured there and told from zero sooner, and the release is
the lever's. What the trace would have said by itself is kept beside it, so that a job
tells how good the estimate is on this bench, also for pulls whose lever says nothing.
"""

from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import NamedTuple

from tensionlog.model.sitting import Found, LeverRelease, Levers
from tensionlog.pulls.group import measure
from tensionlog.pulls.heads import HeadReader
from tensionlog.pulls.hold import Hold
from tensionlog.pulls.manners import Manners
from tensionlog.pulls.measured import Measured
from tensionlog.pulls.shape import Shape
from tensionlog.timeline import Marked

OPENS = "open-"

SEEN_RATIO = 3.5
"""A step at a moment that is known to a few samples is told from zero at so many of its
uncertainties; one that is looked for in the whole hold needs 4.5."""

SAME_WITHIN_S = 0.1
"""An estimate further off than this is of something else: a hand, a knock."""

_MAD = 1.4826


class Opened(NamedTuple):
    """A lever that opened in a hold.

    Attributes:
        clamp: Whose lever.
        t_s: When, device seconds of the pull's boot.
        by_trace: What the trace alone made of the hold, or None.
    """

    clamp: str
    t_s: float
    by_trace: Hold | None


def read_pull(
    shape: Shape,
    manners: Manners,
    *,
    reader: HeadReader,
    walk: float,
    marks: Sequence[Marked],
) -> tuple[Measured, Opened | None]:
    """Read a pull by its lever where that opened in its hold, else by the trace alone."""
    by_trace = measure(shape, manners, reader=reader, walk=walk)
    mark = _opened_in(shape, marks)
    if mark is None or by_trace.slow_rate:
        return by_trace, None
    there = measure(shape, manners, reader=reader, walk=walk, release_at=mark.t_s)
    opened = Opened(mark.name.removeprefix(OPENS), mark.t_s, by_trace.hold)
    return _at_lever(by_trace, there, mark.t_s), opened


def _opened_in(shape: Shape, marks: Sequence[Marked]) -> Marked | None:
    """The first lever that opened while the head held."""
    from_s, to_s = float(shape.t[shape.top]), float(shape.t[shape.let_off])
    for mark in marks:
        if mark.boot == shape.boot and mark.name.startswith(OPENS):
            if from_s < mark.t_s < to_s:
                return mark
    return None


def _at_lever(by_trace: Measured, there: Measured, at_s: float) -> Measured:
    hold, alone = there.hold, by_trace.hold
    if hold is None or hold.drop is None or hold.u_drop is None:
        return by_trace
    if hold.drop > SEEN_RATIO * hold.u_drop:
        return replace(there, release_t=at_s, hold=replace(hold, seen=True, release_s=at_s))
    # The clamp opened here and nothing fell: what the trace took for a step is none. Read
    # as a hold without a step, its size is still the best there is, and near zero.
    unseen = alone if alone is not None and not alone.seen else replace(hold, release_s=None)
    hold = replace(unseen, seen=False, drop=hold.drop, u_drop=hold.u_drop)
    return replace(by_trace, release_t=None, hold=hold)


def lever_release(opened: Opened | None, *, axis_s: float) -> LeverRelease | None:
    """A lever's release on the recording's own axis.

    Args:
        opened: As the pull was read, or None.
        axis_s: What is added to device seconds of its boot.
    """
    if opened is None:
        return None
    alone = opened.by_trace
    seen_s = alone.release_s if alone is not None and alone.seen else None
    return LeverRelease(
        clamp=opened.clamp,
        at_s=opened.t_s + axis_s,
        by_trace_s=None if seen_s is None else seen_s + axis_s,
        by_trace_drop=alone.drop if alone is not None else None,
    )


def levers_of(found: Sequence[Found]) -> Levers | None:
    """Hold estimates against levers over a sitting; None where no lever marked a release."""
    marked = [
        (f.lever, f.pull)
        for f in found
        if f.lever is not None and f.pull.clamp_opened is not None
    ]
    if not marked:
        return None
    off_s = [
        (lever.by_trace_s - lever.at_s, pull, lever)
        for lever, pull in marked
        if lever.by_trace_s is not None
    ]
    near = [
        (by_s, pull, lever)
        for by_s, pull, lever in off_s
        if abs(by_s) <= SAME_WITHIN_S and pull.seen
    ]
    late_s, spread_s = _middle([by_s for by_s, _, _ in near])
    drop, drop_spread = _middle(
        [
            lever.by_trace_drop - pull.drop
            for _, pull, lever in near
            if lever.by_trace_drop is not None and pull.drop is not None
        ]
    )
    return Levers(
        releases=len(marked),
        seen=sum(pull.seen for _, pull in marked),
        found=len(near),
        elsewhere=len(off_s) - len(near),
        other_clamp=sum(lever.clamp != pull.clamp_opened for lever, pull in marked),
        late_s=late_s,
        spread_s=spread_s,
        drop=drop,
        drop_spread=drop_spread,
        unit=marked[0][1].unit,
    )


def _middle(differences: Sequence[float]) -> tuple[float | None, float | None]:
    """Median, and spread as the median deviation gives it; None of too few."""
    if not differences:
        return None, None
    middle = median(differences)
    if len(differences) < 3:
        return middle, None
    return middle, _MAD * median(abs(d - middle) for d in differences)
