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
        seen: Entries that each sample averages, shape (n, l).
        weights: Their shares in it, shape (n, l).
    """

    x: Floats
    step_s: float
    decades: Floats
    top_t: float
    boxes_s: tuple[float, ...]
    seen: NDArray[np.intp]
    weights: Floats

    @staticmethod
    def of(t: Floats, *, top_t: float, boxes_s: Sequence[float], step_s: float) -> "Grid":
        """A grid that covers samples at `t` and what the converter averages before them."""
        begin = float(t[0]) - sum(boxes_s) - 3.0 * step_s
        x = np.arange(begin, float(t[-1]) + 2.0 * step_s, step_s)
        seen, weights = _smear((t - begin) / step_s, [box / step_s for box in boxes_s])
        return Grid(
            x=x,
            step_s=step_s,
            decades=_decades(x - top_t),
            top_t=top_t,
            boxes_s=tuple(boxes_s),
            seen=np.minimum(np.maximum(seen, 0), len(x) - 1),
            weights=weights,
        )

    def decades_at(self, t: Floats) -> Floats:
        """Decades of time since the top at some times."""
        return _decades(t - self.top_t)


def _decades(since_s: Floats) -> Floats:
    result: Floats = np.log10(np.maximum(since_s, 0.0) + ORIGIN_S)
    return result


USES = ("as", "ac", "as", "asr", "asc", "ac", "as")
"""What each piece of a course is made of: a − s·decades − r·x + c·exp((x₁ − x)/τ)."""

A, S, R, C, X1 = range(5)


def course(grid: Grid, rows: Floats, mode: str) -> Floats:
    """Force on the grid for each row of parameters, shape (b, m).

    Args:
        grid: Where.
        rows: Parameters, shape (b, 9), columns as above.
        mode: One of `MODES`.
    """
    return courses(grid, [(mode, rows)])


def courses(grid: Grid, wanted: Sequence[tuple[str, Floats]]) -> Floats:
    """Force on the grid for rows of several modes, one mode behind the other.

    What numpy costs a call is more than what it costs a row: modes are worked out at once.
    """
    made = [_pieces(grid, rows, mode) for mode, rows in wanted]
    parts = np.concatenate([part for part, _ in made], axis=2)[..., None]
    ends = np.concatenate([end for _, end in made], axis=1)
    rates = np.concatenate([np.exp(-rows[:, LN_TAU]) for _, rows in wanted])[:, None]
    firsts = [0, *np.searchsorted(grid.x, ends.min(axis=1)).tolist()]
    lasts = [*np.searchsorted(grid.x, ends.max(axis=1)).tolist(), len(grid.x)]
    out = np.empty((ends.shape[1], len(grid.x)))
    done = 0
    for k, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        if last <= first:
            continue
        piece = _piece(grid, slice(first, last), parts[k], rates, USES[k])
        done = min(done, last)
        if done > first:
            now = grid.x[first:done] >= ends[k - 1, :, None]
            np.copyto(out[:, first:done], piece[:, : done - first], where=now)
            out[:, done:last] = piece[:, done - first :]
        else:
            out[:, first:last] = piece
        done = last
    return out


def _piece(grid: Grid, where: slice, part: Floats, rates: Floats, uses: str) -> Floats:
    """One piece of every course on a part of the grid; `part` of shape (5, b, 1)."""
    x = grid.x[where]
    force: Floats = part[A]
    if "s" in uses:
        force = force - part[S] * grid.decades[where]
    if "r" in uses:
        force = force - part[R] * x
    if "c" in uses:
        force = force + part[C] * np.exp(np.minimum((part[X1] - x) * rates, 40.0))
    return force


def _pieces(grid: Grid, rows: Floats, mode: str) -> tuple[Floats, Floats]:
    """Coefficients of the pieces, shape (7, 5, b), and the ends of all but the last."""
    level, slope, drop, upper, begin, fall_s, ln_tau, band, short = rows.T
    parts, ends = np.zeros((7, 5, len(rows))), np.empty((6, len(rows)))
    tau = np.exp(ln_tau)
    left = np.maximum(short * band, 1e-6)
    fallen = begin + fall_s
    at_begin = grid.decades_at(begin)
    if mode == "pulling":
        _started(grid, rows, parts, ends)
        wait, low = begin, level
    else:
        _stopped(grid, rows, parts, ends, at_begin=at_begin)
    if mode == "lasting":
        start, low = _left_alone(grid, rows, parts, at_begin=at_begin)
        ends[3], ends[4], lowest = fallen, start, np.minimum(low, upper - left)
        stop = start + tau * np.log((upper - lowest) / left)
        reached = upper - left
    else:
        if mode == "resting":
            least = np.maximum(drop, 1e-9)
            gap = np.minimum(np.maximum(level - upper + band, 0.0), least)
            wait, low = begin + fall_s * gap / least, level - gap
        # While the force falls and the motor pulls, it tends to where both keep the balance.
        tends = upper - drop * tau / fall_s
        lowest = tends + (low - tends) * np.exp((wait - fallen) / tau)
        parts[4, A], parts[4, C], parts[4, X1] = tends, low - tends, wait
        ends[3], ends[4], start = wait, fallen, fallen
        stop = fallen + tau * np.log(np.maximum((upper - lowest) / left, 1.0))
        reached = np.minimum(upper - left, np.maximum(lowest, upper - left))
    ends[5] = stop
    parts[5, A], parts[5, C], parts[5, X1] = upper, lowest - upper, start
    parts[6, A], parts[6, S] = reached + slope * grid.decades_at(stop), slope
    return parts, ends


def _left_alone(
    grid: Grid, rows: Floats, parts: Floats, *, at_begin: Floats
) -> tuple[Floats, Floats]:
    """A fall within the band; the motor starts of itself once the lower edge is reached.

    Returns:
        When it starts, and the force there.
    """
    level, slope, drop, upper, begin, fall_s, _, band, _ = rows.T
    to_go = np.maximum(level - drop - upper + band, 0.0)
    decades = at_begin + to_go / np.maximum(slope, 1e-3)
    start = grid.top_t + 10.0 ** np.minimum(decades, 3.0) - ORIGIN_S
    start = np.maximum(start, begin + fall_s)
    at_one = level + slope * at_begin - drop
    parts[4, A], parts[4, S] = at_one, slope
    return start, at_one - slope * grid.decades_at(start)


def _started(grid: Grid, rows: Floats, parts: Floats, ends: Floats) -> None:
    """Force before the fall where the motor pulls: at rest until the band was left."""
    level, slope, _, upper, begin, _, ln_tau, band, _ = rows.T
    missing = np.maximum(upper - level, 1e-6)
    start = begin - np.exp(ln_tau) * np.log(np.maximum(band / missing, 1.0))
    lowest = upper - np.maximum(missing, band)
    parts[0, A], parts[0, S] = lowest + slope * grid.decades_at(start), slope
    parts[1, A], parts[1, C], parts[1, X1] = upper, lowest - upper, start
    ends[0], ends[1:3] = start, begin


def _stopped(
    grid: Grid, rows: Floats, parts: Floats, ends: Floats, *, at_begin: Floats
) -> None:
    """Force before the fall where the motor rests, and the fall until it starts.

    The motor pulled until its last stop, which was when the force lay as far below as the
    string has lost since.
    """
    level, slope, drop, upper, begin, fall_s, ln_tau, band, short = rows.T
    left = np.maximum(short * band, 1e-6)
    lost = upper - left - level
    decades = at_begin - lost / np.maximum(slope, 1e-3)
    stop = grid.top_t + 10.0 ** np.minimum(np.maximum(decades, -9.0), 3.0) - ORIGIN_S
    stop = np.where(lost > 0.0, stop, -1e9)
    # It did not begin below the band, and not forever ago.
    pulled = np.minimum(np.maximum(np.log(band / left), 0.0), 8.0)
    parts[0, A] = upper - left * np.exp(pulled)
    parts[1, A], parts[1, C], parts[1, X1] = upper, -left, stop
    parts[2:4, A], parts[2:4, S] = level + slope * at_begin, slope
    parts[3, R] = drop / fall_s
    parts[3, A] += parts[3, R] * begin
    ends[0], ends[1], ends[2] = stop - np.exp(ln_tau) * pulled, stop, begin


def shown(grid: Grid, force: Floats) -> Floats:
    """Samples as the converter gives them, shape (b, n), of forces of shape (b, m)."""
    # Not a product of matrices: for so small ones its threads cost more than the product.
    averaged = np.take(force, grid.seen, axis=1)
    return np.asarray(np.einsum("bnl,nl->bn", averaged, grid.weights))


def _smear(place: Floats, boxes: Sequence[float]) -> tuple[NDArray[np.intp], Floats]:
    """Entries and weights of the forces in samples at `place`; all lengths in steps.

    Every box is a difference of integrals, so that one impulse tells what all of them do.
    """
    back = boxes[-1]
    length = int(np.ceil(sum(boxes))) + len(boxes) + 1
    total = _of_impulse(length, tuple(boxes))
    # From the newest force that counts to the oldest, for each sample.
    index = np.floor(place).astype(np.intp)[:, None] + 1 - np.arange(length)
    since = place[:, None] - index
    entries = np.arange(-1.0, length)
    held = np.interp(since, entries, total) - np.interp(since - back, entries, total)
    return index, held / back


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
