"""Stiffness test: the anchor moved by known lengths while the string is at tension.

What is measured is the force that a millimetre costs with machine, cell and anchor in
line, which is what turns a loss into millimetres. Each move relaxes from the moment it
is made, like everything else on a held string; the share per decade is not known well,
so it is averaged over, weighed by how well it explains the trace.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.clamps.held import TAU_S, held_law
from tensionlog.clamps.law import decades
from tensionlog.clamps.noise import Whitening, whitening
from tensionlog.clamps.trace import Bins, Floats, Readings, averaged, clean, running_median
from tensionlog.errors import ClampError

SHARES = np.arange(0.005, 0.1001, 0.005)
SHARE_MEAN, SHARE_SD = 0.045, 0.025
WANDER = 0.005
U_MOVE_MM = 0.01
"""What a screw of known pitch may be off by after a turn or two: slack and reading."""

U_SPAN_M = 0.002
LAW_DOUBT = 0.015
"""Strings of three laws of relaxation, simulated, came out within about this share."""

LEAST_S = 1.0
LOOSELY = 0.3
BEFORE_S, OLDER_S = 4.0, 3.0
"""How long before the first move is looked at, and how much older the pull is at least."""

NOTED_WITHIN_S = 4.0
"""How far from its note a move may lie: it is noted before the screw is turned, or after."""

RISE_S, SLOPE_S = 2.5, 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class StiffnessResult:
    """Axial stiffness at tension.

    Attributes:
        ea_n: Newtons per unit strain, compliance of the bench included.
        u_ea_n: Its standard uncertainty.
        moves: Stiffness by each move on its own, newtons.
    """

    ea_n: float
    u_ea_n: float
    moves: tuple[float, ...]

    def answer(self) -> dict[str, float]:
        """The pinned JSON form."""
        return {"EA_N": self.ea_n, "u_EA_N": self.u_ea_n}


class Move(NamedTuple):
    """One move of the anchor.

    Attributes:
        at_s: When it was noted, on the clock of the readings.
        moved_mm: How far; tightening is positive.
    """

    at_s: float
    moved_mm: float


class _Tension(NamedTuple):
    pulled_s: float
    level_n: float


class _Seen(NamedTuple):
    begin_s: float
    end_s: float
    moved_mm: float


def measure_stiffness(
    *,
    t_s: ArrayLike,
    force_n: ArrayLike,
    span_m: float,
    moves: Sequence[Move],
    end_s: float,
) -> StiffnessResult:
    """Measure one stiffness test.

    Args:
        t_s: Sample times, seconds, rising, shape (n,).
        force_n: Readings in newtons, shape (n,).
        span_m: Length of string that is stretched, metres.
        moves: Every move of the anchor, in order.
        end_s: When the test was ended.

    Raises:
        ClampError: Nothing was moved, no span is known, or the force hardly changed.
    """
    if not moves or not all(move.moved_mm for move in moves):
        raise ClampError("the anchor was never moved: note each turn of the screw as a step.")
    if not span_m > 0.0:
        raise ClampError(f"a stiffness test needs the length of the span, not {span_m!r} m.")
    readings = clean(*(np.asarray(c, dtype=np.float64) for c in (t_s, force_n)))
    tension = _tension(readings, moves[0].at_s)
    windows = _windows(moves, tension.pulled_s, end_s)
    seen = [
        _seen(readings, move, window, tension.pulled_s)
        for move, window in zip(moves, windows, strict=True)
    ]
    sizes, covariance = _sizes(readings, seen, end_s, tension)
    return _combined(sizes, covariance, np.array([m.moved_mm for m in moves]), span_m)


def _tension(readings: Readings, before_s: float) -> _Tension:
    """When the string came to tension, or long ago where the trace begins at tension."""
    before = readings.t_s < before_s
    t_s, force = readings.t_s[before], running_median(readings.force[before], 5)
    if not t_s.size:
        raise ClampError(
            f"there is nothing before the first step at {before_s:.1f} s: hold the string at "
            "tension for some seconds, then turn the screw."
        )
    empty, level = float(force.min()), float(np.median(force[-5:]))
    half = np.flatnonzero(force - empty < 0.5 * (level - empty))
    half = half[t_s[half] < t_s[-1] - 0.5]
    # The least of a string at tension is no empty reading: the calibration's own zero is.
    if not half.size or abs(empty) > 0.3 * abs(level):
        return _Tension(float(t_s[0]) - OLDER_S, level)
    rise = slice(int(half[-1]), int(np.searchsorted(t_s, t_s[half[-1]] + RISE_S)))
    full = force[rise] - empty >= 0.97 * float(force[rise].max() - empty)
    return _Tension(float(t_s[rise][int(np.argmax(full))]), level - empty)


def _windows(moves: Sequence[Move], pulled_s: float, end_s: float) -> list[tuple[float, float]]:
    """Where each move is to be found: nobody says whether it was noted before or after."""
    at = [move.at_s for move in moves]
    between = [0.5 * (a + b) for a, b in pairwise(at)]
    first_s = max(at[0] - NOTED_WITHIN_S, pulled_s + 0.5)
    last_s = min(at[-1] + 1.5 * NOTED_WITHIN_S, end_s - 0.5)
    return list(zip([first_s, *between], [*between, last_s], strict=True))


def _seen(
    readings: Readings, move: Move, window: tuple[float, float], pulled_s: float
) -> _Seen:
    """When a move really began and ended."""
    inside = (readings.t_s >= window[0]) & (readings.t_s <= window[1])
    t_s = readings.t_s[inside]
    if t_s.size < 20:
        raise ClampError(
            f"the step at {move.at_s:.1f} s is too short: wait five seconds after each."
        )
    toward = float(np.sign(move.moved_mm))
    force = running_median(readings.force[inside], 5)
    quiet_s = _quiet_until(t_s, force * toward)
    still = (readings.t_s > max(quiet_s - BEFORE_S, pulled_s + 0.3)) & (readings.t_s < quiet_s)
    before = held_law(readings.t_s[still] - pulled_s, readings.force[still])
    change = (force - before(t_s - pulled_s)) * toward if still.any() else np.zeros(t_s.size)
    greatest = float(np.max(change))
    if greatest < max(0.5, 10.0 * readings.noise):
        raise ClampError(
            f"the reading hardly changes at the step at {move.at_s:.1f} s "
            f"({move.moved_mm:g} mm). Is the string at tension, the clamp shut, and the screw "
            "the cell's anchor?"
        )
    return _Seen(*_edges(t_s, change / greatest), move.moved_mm)


def _quiet_until(t_s: Floats, force: Floats) -> float:
    """Until when the reading only relaxes: before its steepest rise."""
    rise = np.interp(t_s + SLOPE_S, t_s, force) - np.interp(t_s - SLOPE_S, t_s, force)
    steepest = int(np.argmax(rise))
    calm = np.flatnonzero(rise[:steepest] < 0.1 * rise[steepest])
    return float(t_s[calm[-1]] if calm.size else t_s[0]) - 0.2


def _edges(t_s: Floats, done: Floats) -> tuple[float, float]:
    """When a change, as a share of itself, begins and ends."""
    half = int(np.argmax(done >= 0.5))
    early = np.flatnonzero(done[: half + 1] <= 0.04)
    late = half + int(np.argmax(done[half:] >= 0.97))
    return float(t_s[early[-1]] if early.size else t_s[0]), float(t_s[late])


def _stretches(readings: Readings, seen: list[_Seen], end_s: float, pulled_s: float) -> Bins:
    """Averages of everything between the moves."""
    starts = [max(seen[0].begin_s - BEFORE_S, pulled_s + 0.3)] + [s.end_s + 0.1 for s in seen]
    ends = [s.begin_s - 0.1 for s in seen] + [end_s - 0.3]
    parts = [averaged(readings, a, b) for a, b in zip(starts, ends, strict=True)]
    if any(part.t_s.size < 3 or np.ptp(part.t_s) < LEAST_S for part in parts):
        raise ClampError("the steps follow too fast: wait five seconds before and after each.")
    return Bins(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _sizes(
    readings: Readings, seen: list[_Seen], end_s: float, tension: _Tension
) -> tuple[Floats, Floats]:
    """Force that each move added at once, with covariance, mixed over the relaxation."""
    rows = _stretches(readings, seen, end_s, tension.pulled_s)
    white = whitening(
        t_s=rows.t_s, variance=readings.noise**2 / rows.number + 1e-8, wander=WANDER
    )
    found = [_given_share(rows, seen, float(share), white, tension) for share in SHARES]
    evidence = np.array([f[2] for f in found])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    sizes = weights @ np.stack([f[0] for f in found])
    covariance = np.zeros((len(seen), len(seen)))
    for weight, (mean, spread, _) in zip(weights, found, strict=True):
        covariance += weight * (spread + np.outer(mean - sizes, mean - sizes))
    return sizes, covariance


def _given_share(
    rows: Bins,
    seen: list[_Seen],
    share: float,
    white: Whitening,
    tension: _Tension,
) -> tuple[Floats, Floats, float]:
    """Sizes, covariance and evidence if the string loses `share` per decade."""
    grown = decades(rows.t_s - tension.pulled_s, TAU_S)
    moved = [_moved(rows.t_s, move, share) for move in seen]
    whole = white(np.column_stack([np.ones_like(grown), grown, *moved, rows.force]))
    design, force = whole[:, :-1], whole[:, -1]
    # What the whole string still loses goes by the same share, roughly: a clamp may have
    # taken over since it was pulled.
    fall, u_fall = -share * tension.level_n, LOOSELY * share * tension.level_n
    normal = design.T @ design + 1e-10 * np.eye(design.shape[1])
    normal[1, 1] += u_fall**-2.0
    pull = design.T @ force
    pull[1] += fall / u_fall**2
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    theta: Floats = covariance @ pull
    left = force - design @ theta
    away = (share - SHARE_MEAN) / SHARE_SD, (theta[1] - fall) / u_fall
    square = float(left @ left) + away[0] ** 2 + float(away[1]) ** 2
    volume = float(np.linalg.slogdet(normal)[1]) + 2.0 * np.log(u_fall)
    evidence = -0.5 * (square + volume)
    return theta[2:], covariance[2:, 2:], evidence


def _moved(t_s: Floats, move: _Seen, share: float) -> Floats:
    """A unit of force added evenly while the anchor moved, as it relaxes."""
    added_s = np.linspace(move.begin_s, move.end_s, 7)
    grown = np.mean([decades(t_s - at_s, TAU_S) for at_s in added_s], axis=0)
    middle_s = 0.5 * (move.begin_s + move.end_s)
    column: Floats = np.where(t_s > middle_s, 1.0 - share * grown, 0.0)
    return column


def _combined(
    sizes: Floats, covariance: Floats, moved_mm: Floats, span_m: float
) -> StiffnessResult:
    """One stiffness from all moves, each weighed by what it is known to."""
    per_mm = sizes / moved_mm
    spread = covariance / np.outer(moved_mm, moved_mm)
    spread = spread + np.diag((per_mm * U_MOVE_MM / moved_mm) ** 2)
    ones = np.ones_like(per_mm)
    weights = np.linalg.solve(spread, ones)
    total = float(weights.sum())
    best = float(weights @ per_mm) / total
    # Moves that disagree by more than they should say that something else moved too.
    misfit = float((per_mm - best) @ np.linalg.solve(spread, per_mm - best))
    inflation = max(1.0, misfit / max(len(per_mm) - 1, 1))
    u_best = (inflation / total) ** 0.5
    ea_n = 1000.0 * span_m * best
    u_ea_n = ea_n * float(np.hypot(np.hypot(u_best / best, U_SPAN_M / span_m), LAW_DOUBT))
    moves = tuple(float(1000.0 * span_m * k) for k in per_mm)
    return StiffnessResult(ea_n=ea_n, u_ea_n=abs(u_ea_n), moves=moves)
