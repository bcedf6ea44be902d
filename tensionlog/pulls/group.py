"""The pulls of a job, read together: what they share is learned, then each is read.

Stretches that are one pull in several lifts are put back together here, and what cannot
be a pull by its level or its length is left out: knocks, plucks, slack taken up, a string
that was gripped again before it held.
"""

from collections.abc import Sequence

import numpy as np

from tensionlog.model.recording import Calibration
from tensionlog.pulls.finder import Stretch
from tensionlog.pulls.heads import HeadReader
from tensionlog.pulls.hold import SHUT_BEFORE_S, Hold
from tensionlog.pulls.manners import Manners
from tensionlog.pulls.measured import Measured
from tensionlog.pulls.noise import wander
from tensionlog.pulls.order import median
from tensionlog.pulls.shape import (
    AGAIN_SHARE,
    AGAIN_WITHIN_S,
    Shape,
    joined,
    shape_of,
    top_index,
)

FULL_SHARE = 0.8
LEAST_HELD_S = 0.12
"""What comes to this share of what the job's pulls usually come to is a pull if it is held
at all: a knock is over in less time than the shortest hold that a hand can make."""

LEAST_SHARE = 0.62
LONG_HELD_S = 0.6
"""What comes to less is a pull only if it was held for a while: a string that slid through
the gripper, not one that was gripped again."""

USUAL_WALK_SHARE = 0.08
"""Random walk of the zero per √s as a share of a sample's noise, until a job shows its own."""

PEAK_WITHIN_S = 1.0
"""The greatest reading belongs to the pull's top when it comes within this time of it."""


def same_pull(earlier: Stretch, later: Stretch) -> bool:
    """Whether two stretches are one pull brought up again: soon after, and as high."""
    if earlier.boot != later.boot:
        return False
    gap = float(later.t_s[later.first] - earlier.t_s[earlier.last])
    lower, higher = sorted((_height(earlier), _height(later)))
    return gap < AGAIN_WITHIN_S and lower > AGAIN_SHARE * higher


def _height(stretch: Stretch) -> float:
    loaded = stretch.counts[stretch.first : stretch.last + 1]
    return median(np.sort(np.abs(loaded - stretch.base))[-max(3, len(loaded) // 4) :])


def shapes_of(
    stretches: Sequence[Stretch], *, calibration: Calibration
) -> list[tuple[Stretch, Shape]]:
    """Join what is one pull, and find the landmarks of each."""
    runs: list[list[Stretch]] = []
    for stretch in stretches:
        if runs and same_pull(runs[-1][-1], stretch):
            runs[-1].append(stretch)
        else:
            runs.append([stretch])
    whole = _without_remainders([joined(run) for run in runs])
    shaped = [(stretch, shape_of(stretch, calibration=calibration)) for stretch in whole]
    return [(stretch, shape) for stretch, shape in shaped if shape is not None]


def _without_remainders(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Leave out what is only the end of a pull that a restart has cut: it was found already."""
    kept: list[Stretch] = []
    for stretch in stretches:
        if stretch.cut_at_start and kept and kept[-1].cut_at_end:
            continue
        kept.append(stretch)
    return kept


def usual_level(shapes: Sequence[Shape]) -> float:
    """Level that the job's pulls usually come to; 0 where there are none.

    The median of what is held for a moment and comes to half of the greatest of these.
    """
    held = [s.level for s in shapes if s.held_s >= 0.3]
    if not held:
        return 0.0
    greatest = float(np.quantile(held, 0.9))
    return float(np.median([level for level in held if level >= 0.5 * greatest]))


def is_pull(shape: Shape, *, usual: float) -> bool:
    """Whether a stretch is a pull, by its level and how long it was held."""
    held_s = float(shape.t[shape.let_off] - shape.t[shape.start]) if shape.cut else shape.held_s
    if shape.reached >= FULL_SHARE * usual:
        return held_s >= LEAST_HELD_S
    return shape.reached >= LEAST_SHARE * usual and held_s >= LONG_HELD_S


def zero_walk(shapes: Sequence[Shape]) -> float:
    """Random walk of the zero, per √s, from the empty readings of the job."""
    if not shapes:
        return 0.0
    noise = float(np.median([s.noise for s in shapes]))
    one_boot = [s for s in shapes if s.boot == shapes[0].boot]
    if len(one_boot) < 8:
        return USUAL_WALK_SHARE * noise
    found = wander(
        np.array([s.idle_at for s in one_boot]),
        np.array([s.idle for s in one_boot]),
        np.array([s.u_idle for s in one_boot]),
    )
    return max(found, 0.02 * noise)


def measure(
    shape: Shape,
    manners: Manners,
    *,
    reader: HeadReader,
    walk: float,
    release_at: float | None = None,
) -> Measured:
    """Read one pull with what the job knows."""
    hold = reader.read(shape, manners=manners, walk=walk, release_at=release_at)
    near = slice(
        shape.start,
        min(
            shape.let_off,
            int(np.searchsorted(shape.t, shape.t[shape.top] + PEAK_WITHIN_S)),
        )
        + 1,
    )
    shut_t = float(shape.t[shape.let_off]) - SHUT_BEFORE_S
    at = hold.release_s if hold is not None and hold.release_s is not None else shut_t
    u_zero = np.hypot(shape.u_idle, walk * np.sqrt(max(at - shape.idle_at, 0.0)))
    return Measured(
        boot=shape.boot,
        start_t=float(shape.t[shape.start]),
        top_t=float(shape.t[_top_by(shape, hold)]),
        release_t=None if hold is None else hold.release_s,
        shut_t=shut_t,
        let_off_t=None if shape.cut else float(shape.t[shape.let_off]),
        peak=float(shape.y[near].max()),
        level=shape.level,
        held_s=shape.held_s,
        hold=hold,
        idle=shape.idle,
        u_zero=float(u_zero),
        noise=shape.noise,
        lifts=shape.lifts,
        cut=shape.cut or shape.began_loaded,
        longest_gap=shape.longest_gap,
        slow_rate=reader.too_slow(shape),
        manners=manners.flags,
    )


def _top_by(shape: Shape, hold: Hold | None) -> int:
    """The ramp's end by the settled level as the law has it, not by the hold's median."""
    if hold is None:
        return shape.top
    return top_index(shape, hold.top)
