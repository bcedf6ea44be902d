"""What is kept of a pull once its trace has been read: a few numbers and a small trace."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.hold import Hold
from tensionlog.pulls.shape import Shape


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One pull as the trace alone shows it; the plan has not been asked yet.

    Times are device seconds of `boot`; forces are above the empty reading.

    Attributes:
        boot: Which start of the device the times belong to.
        start_t: First sample of the lasting rise.
        top_t: First sample at 98 % of the settled level.
        release_t: When the force begins to fall; None if not seen.
        shut_t: When the clamp is taken to be shut.
        let_off_t: Last sample before the head lets go; None where the stream broke off.
        peak: Greatest reading around the top.
        level: Median of the hold.
        held_s: Time from top to let-off.
        hold: What the head's reader made of the hold, or None.
        idle: Empty reading before the pull.
        u_zero: Standard uncertainty of the zero at the release, its wander included.
        noise: Standard deviation of a sample.
        lifts: How often the force was brought up.
        cut: The stream broke off under load.
        longest_gap: Longest time without a sample under load, seconds.
        slow_rate: The rate cannot show a release on this head.
        manners: Flags that the trace's shape alone gives.
    """

    boot: int
    start_t: float
    top_t: float
    release_t: float | None
    shut_t: float
    let_off_t: float | None
    peak: float
    level: float
    held_s: float
    hold: Hold | None
    idle: float
    u_zero: float
    noise: float
    lifts: int
    cut: bool
    longest_gap: float
    slow_rate: bool
    manners: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallTrace:
    """A trace packed small: whole counts and device microseconds where they are whole."""

    boot: int
    t_us: NDArray[np.int64]
    counts: NDArray[np.int32] | NDArray[np.float64]


def small_trace(shape: Shape, *, before_s: float = 1.0) -> SmallTrace:
    """The part of a stretch worth keeping: from a second before the rise to its end."""
    begin = int(np.searchsorted(shape.t, shape.t[shape.start] - before_s))
    counts = shape.counts[begin:]
    whole = counts.astype(np.int32)
    return SmallTrace(
        boot=shape.boot,
        t_us=np.round(shape.t[begin:] * 1e6).astype(np.int64),
        counts=whole if np.array_equal(whole, counts) else counts,
    )
