"""What a motor with a dead band makes of a release, from one of its switches to another.

At rest the string relaxes by the logarithm of time. Where the force comes below the
band the motor starts, and draws it to the band's upper edge with one time constant; it
stops a little short of it. A clamp that opens takes the force down within 5–30 ms, and
the motor's answer begins when its band is left, be it in the middle of the fall.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVEL, SLOPE, DROP, UPPER, BEGIN, FALL, LN_TAU, BAND, SHORT = range(9)
"""Columns of a course: force as the fall begins, relaxation per decade, drop, the band's
upper edge, when the fall begins and how long it takes, ln of the time constant, height
of the band, and the share of it by which the motor stops short."""

ORIGIN_S = 0.2
"""Origin of the string's logarithm; half a second after the top its exact value is lost."""

MODES = ("resting", "pulling", "lasting")
"""The motor rests as the clamp opens, is pulling already, or leaves the fall as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Where a course is worked out before the converter smears it.

    Attributes:
        x: Times, evenly apart, shape (m,).
        step_s: Their distance.
        decades: Decades of time since the top at each, shape (m,).
        top_t: The ramp's end.
        boxes_s: The converter's averaging boxes, seconds.
        smear: What the converter makes of a force here: its weights, shape (m, n).
    """

    x: Floats
    step_s: float
    decades: Floats
    top_t: float
    boxes_s: tuple[float, ...]
    smear: Floats

    @staticmethod
    def of(t: Floats, *, top_t: float, boxes_s: Sequence[float], step_s: float) -> "Grid":
        """A grid that covers samples at `t` and what the converter averages before them."""
        begin = float(t[0]) - sum(boxes_s) - 3.0 * step_s
        x = np.arange(begin, float(t[-1]) + 2.0 * step_s, step_s)
        return Grid(
            x=x,
            step_s=step_s,
            decades=_decades(x - top_t),
            top_t=top_t,
            boxes_s=tuple(boxes_s),
            smear=_smear((t - begin) / step_s, len(x), [box / step_s for box in boxes_s]),
        )

    def decades_at(self, t: Floats) -> Floats:
        """Decades of time since the top at some times."""
        return _decades(t - self.top_t)


def _decades(since_s: Floats) -> Floats:
    result: Floats = np.log10(np.maximum(since_s, 0.0) + ORIGIN_S)
    return result


def course(grid: Grid, rows: Floats, mode: str) -> Floats:
    """Force on the grid for each row of parameters, shape (b, m).

    Args:
        grid: Where.
        rows: Parameters, shape (b, 9), columns as above.
        mode: One of `MODES`.
    """
    level, slope, drop, upper, begin, fall_s, ln_tau, band, short = rows.T[:, :, None]
    since = grid.x - begin
    relaxing = level - slope * (grid.decades - grid.decades_at(begin))
    ramp = np.clip(since / fall_s, 0.0, 1.0)
    if mode == "lasting":
        return _left_alone(grid, relaxing, ramp, rows)
    tau = np.exp(ln_tau)
    left = np.maximum(short * band, 1e-6)
    least = np.maximum(drop, 1e-9)
    if mode == "pulling":
        before = _started(grid, since, rows)
        wait, low = np.zeros_like(level), level
    else:
        before = _stopped(grid, relaxing, rows) - drop * ramp
        gap = np.clip(level - upper + band, 0.0, least)
        wait, low = fall_s * gap / least, level - gap
    # While the force falls and the motor pulls, it tends to where both keep the balance.
    tends = upper - drop * tau / fall_s
    lowest = tends + (low - tends) * np.exp(-(fall_s - wait) / tau)
    stop = fall_s + tau * np.log(np.maximum((upper - lowest) / left, 1.0))
    after_fall = since > fall_s
    towards = np.where(after_fall, upper, tends)
    origin = np.where(after_fall, fall_s, wait)
    first = np.where(after_fall, lowest, low)
    moving = towards + (first - towards) * np.exp(-np.maximum(since - origin, 0.0) / tau)
    reached = np.minimum(upper - left, np.maximum(lowest, upper - left))
    resting = reached - slope * (grid.decades - grid.decades_at(begin + stop))
    after = np.where(since <= stop, moving, resting)
    return np.asarray(np.where(since <= wait, before, after))


def _left_alone(grid: Grid, relaxing: Floats, ramp: Floats, rows: Floats) -> Floats:
    """A fall within the band; the motor starts of itself once the lower edge is reached."""
    level, slope, drop, upper, begin, fall_s, ln_tau, band, short = rows.T[:, :, None]
    tau = np.exp(ln_tau)
    left = np.maximum(short * band, 1e-6)
    to_go = np.maximum(level - drop - upper + band, 0.0)
    decades = grid.decades_at(begin) + to_go / np.maximum(slope, 1e-3)
    start = grid.top_t + 10.0 ** np.minimum(decades, 3.0) - ORIGIN_S
    start = np.maximum(start, begin + fall_s)
    low = level - slope * (grid.decades_at(start) - grid.decades_at(begin)) - drop
    missing = np.maximum(upper - low, left)
    stop = start + tau * np.log(missing / left)
    moving = upper - missing * np.exp(-np.maximum(grid.x - start, 0.0) / tau)
    rest = upper - left - slope * (grid.decades - grid.decades_at(stop))
    before = _stopped(grid, relaxing, rows) - drop * ramp
    after = np.where(grid.x <= stop, moving, rest)
    return np.asarray(np.where(grid.x <= start, before, after))


def _started(grid: Grid, since: Floats, rows: Floats) -> Floats:
    """Force before the fall where the motor pulls: at rest until the band was left."""
    level, slope, _, upper, begin, _, ln_tau, band, _ = rows.T[:, :, None]
    tau = np.exp(ln_tau)
    missing = np.maximum(upper - level, 1e-6)
    start = -tau * np.log(np.maximum(band / missing, 1.0))
    moving = upper - missing * np.exp(-np.clip(since, start, 0.0) / tau)
    at_rest = slope * (grid.decades_at(begin + start) - grid.decades)
    return np.asarray(np.where(since < start, moving + at_rest, moving))


def _stopped(grid: Grid, relaxing: Floats, rows: Floats) -> Floats:
    """Force before the fall where the motor rests: it pulled until its last stop."""
    level, slope, _, upper, begin, _, ln_tau, band, short = rows.T[:, :, None]
    left = np.maximum(short * band, 1e-6)
    lost = upper - left - level
    decades = grid.decades_at(begin) - lost / np.maximum(slope, 1e-3)
    stop = grid.top_t + 10.0 ** np.clip(decades, -9.0, 3.0) - ORIGIN_S
    ago = np.clip((stop - grid.x) / np.exp(ln_tau), 0.0, 8.0)
    pulled = upper - left * np.exp(ago)
    moving = (lost > 0.0) & (grid.x < stop)
    return np.asarray(np.where(moving, np.maximum(pulled, upper - band), relaxing))


def shown(grid: Grid, force: Floats) -> Floats:
    """Samples as the converter gives them, shape (b, n), of forces of shape (b, m)."""
    first = force[:, :1]
    result: Floats = first + (force - first) @ grid.smear
    return result


def _smear(place: Floats, m: int, boxes: Sequence[float]) -> Floats:
    """Weights of `m` forces in samples at `place`, shape (m, n); all lengths in steps.

    Every box is a difference of integrals, so that one impulse tells what all of them do.
    """
    back = boxes[-1]
    length = int(np.ceil(sum(boxes))) + len(boxes) + 4
    total = _of_impulse(length, tuple(boxes))
    # From the newest force that counts to the oldest, for each sample.
    index = np.floor(place).astype(np.int64)[:, None] + 1 - np.arange(length)
    since = place[:, None] - index
    entries = np.arange(-1.0, length)
    held = np.interp(since, entries, total) - np.interp(since - back, entries, total)
    inside = (index >= 0) & (index < m)
    weights = np.zeros((m, len(place)))
    sample = np.broadcast_to(np.arange(len(place))[:, None], index.shape)
    weights[index[inside], sample[inside]] = held[inside] / back
    return weights


@lru_cache(maxsize=64)
def _of_impulse(length: int, boxes: tuple[float, ...]) -> Floats:
    """Integral of an impulse behind all boxes but the last, from −1 on: (length + 1,)."""
    rows = np.zeros(length)
    rows[0] = 1.0
    for width in boxes[:-1]:
        total = np.cumsum(rows) - 0.5 * rows
        low = int(width)
        part = width - low
        earlier = np.zeros(length)
        earlier[low:] = (1.0 - part) * total[: length - low]
        earlier[low + 1 :] += part * total[: length - low - 1]
        rows = (total - earlier) / width
    return np.append(0.0, np.cumsum(rows) - 0.5 * rows)
