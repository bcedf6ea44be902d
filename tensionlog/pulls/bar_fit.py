"""A swing and a fall fitted to the samples of one hold."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.bar_search import U_SLOPE, Bar, BarState, Coarse, searched, still
from tensionlog.pulls.dip import FALL_S, FALLS_S, U_FALL_S, Trace, trace_of
from tensionlog.pulls.least_squares import Fit
from tensionlog.pulls.quiet import plucked
from tensionlog.pulls.shape import Shape
from tensionlog.pulls.swing import fallen_variants, swing_rows

Floats = NDArray[np.float64]

LEAST_HELD_S = 0.4
"""A shorter hold shows too little of a swing to tell a fall from it."""

COARSE_MISFIT = 1.5
"""Beyond this the coarse copy looks as if a hand had been at it."""

GOOD_MISFIT = 1.25
"""Reduced chi-square below which no other moment need be tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swung:
    """A fitted hold.

    Attributes:
        level: Force that the bar balances.
        u_level: One standard uncertainty of it.
        drop: The fall, positive downward.
        u_drop: One standard uncertainty, moment and swing included.
        begin_s: When it begins.
        omega: Angular frequency as fitted.
        decay: Decay rate as fitted.
        misfit: Reduced chi-square.
    """

    level: float
    u_level: float
    drop: float
    u_drop: float
    begin_s: float
    omega: float
    decay: float
    misfit: float


def too_short(trace: Trace) -> bool:
    """Whether a hold shows too little of a swing."""
    return len(trace.t) < 24 or float(trace.t[-1] - trace.t[0]) < LEAST_HELD_S


def held_part(shape: Shape, bar: Bar) -> Trace | None:
    """The settled part of a pull as it is fitted; None where there is hardly any."""
    settle_s = 0.05 + sum(bar.converter) * shape.period
    begin = int(np.searchsorted(shape.t, shape.t[shape.top] + settle_s))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - shape.push_s, "right"))
    if stop - begin < 8:
        return None
    return trace_of(
        shape.t[begin:stop],
        shape.y[begin:stop],
        noise=shape.noise,
        period=shape.period,
        converter=bar.converter,
    )


def swing_of(trace: Trace, bar: Bar, level: float, release_at: float | None) -> Swung:
    """Leave out what a hand did, search, refine what looks best."""
    trace, state, result = _found(trace, bar, level, release_at)
    misfit = _misfit(trace, result)
    return Swung(
        level=float(result.coefficients[0]) + level,
        u_level=result.u(0),
        drop=float(result.coefficients[4]),
        u_drop=result.u(4) * max(1.0, float(np.sqrt(misfit))),
        begin_s=state.begin_s,
        omega=state.omega,
        decay=state.decay,
        misfit=misfit,
    )


def misfits_of(shape: Shape, bar: Bar, converters: Sequence[tuple[float, ...]]) -> list[float]:
    """How well a hold is explained with each converter; infinite where it is too short.

    Another converter moves and rounds the same fall by milliseconds, so the moment is
    searched with the bar's own, and refined from there with each.
    """
    longest = max(converters, key=sum)
    trace = held_part(shape, replace(bar, converter=longest))
    if trace is None or too_short(trace):
        return [np.inf] * len(converters)
    folded = trace.boxes_s[len(longest) :]
    own = tuple(shape.period * box for box in bar.converter)
    trace, state, _ = _found(replace(trace, boxes_s=(*own, *folded)), bar, shape.level, None)
    misfits = []
    for converter in converters:
        boxes = tuple(shape.period * box for box in converter)
        later_s = 0.5 * (sum(boxes) - sum(own))
        moved = replace(state, begin_s=state.begin_s - later_s)
        tried = replace(trace, boxes_s=(*boxes, *folded))
        misfits.append(_misfit(trace, _refined(tried, bar, moved, shape.level, False)[1]))
    return misfits


def _misfit(trace: Trace, result: Fit) -> float:
    """Reduced chi-square."""
    return result.chi2 / max(1, len(trace.t) - 9)


def _found(
    trace: Trace, bar: Bar, level: float, release_at: float | None
) -> tuple[Trace, BarState, Fit]:
    """The samples that are left, and the best fit to them."""
    trace = trace.kept(~plucked(trace))
    starts = searched(Coarse.of(trace, level), trace, bar, release_at)
    if bar.learned and starts[0].chi2 > COARSE_MISFIT * len(trace.t) * trace.noise**2:
        trace = still(trace, bar, level)
        starts = searched(Coarse.of(trace, level), trace, bar, release_at)
    state, result = _refined(trace, bar, starts[0], level, release_at is not None)
    for other in starts[1:]:
        if result.chi2 < GOOD_MISFIT * len(trace.t):
            break
        tried = _refined(trace, bar, other, level, release_at is not None)
        state, result = min((state, result), tried, key=lambda pair: pair[1].chi2)
    return trace, state, result


def _refined(
    trace: Trace, bar: Bar, state: BarState, level: float, fixed: bool
) -> tuple[BarState, Fit]:
    """Gauss–Newton on the samples from a coarse start."""
    result = _linearised(trace, bar, state, level, fixed)
    for _ in range(6):
        c = result.coefficients
        reach = max(trace.period, 0.004)
        fall_s = _within(state.fall_s + c[6], FALLS_S[0], FALLS_S[-1])
        moved = BarState(
            omega=state.omega * exp(_within(c[7], -0.15, 0.15)),
            decay=state.decay * exp(_within(c[8], -0.4, 0.4)),
            begin_s=state.begin_s + _within(c[5], -reach, reach),
            fall_s=fall_s,
            swing=(float(c[2]), float(c[3]), float(c[4])),
        )
        again = _linearised(trace, bar, moved, level, fixed)
        if again.chi2 > result.chi2 + 0.05 * result.degrees + 5.0:
            break
        settled = abs(again.chi2 - result.chi2) < 0.02
        state, result = moved, again
        if settled:
            break
    return state, result


def _within(value: float, low: float, high: float) -> float:
    return float(min(max(value, low), high))


def _linearised(trace: Trace, bar: Bar, state: BarState, level: float, fixed: bool) -> Fit:
    """Fit level, slope, swing, drop, moment, duration, ln ω and ln α around one state."""
    x = trace.t - trace.t[0]
    rows = np.empty((9, len(x)))
    rows[0], rows[1], rows[2:4] = 1.0, x, swing_rows(x, state.omega, state.decay)
    here, by_moment, by_fall, by_omega, by_decay = _fall_columns(trace, state)
    rows[4] = -here
    y = trace.y - level
    wide = abs(level)
    sds = np.array([np.inf, U_SLOPE * wide, 0.15 * wide, 0.15 * wide, 10.0 * wide])
    a, b, drop = (
        state.swing or _solved(rows[:5], y, trace.noise, (np.zeros(5), sds)).coefficients[2:]
    )
    cosine, sine = rows[2:4]
    rows[5], rows[6] = -drop * by_moment, -drop * by_fall
    rows[7] = state.omega * x * (b * cosine - a * sine) - drop * by_omega
    rows[8] = -state.decay * x * (a * cosine + b * sine) - drop * by_decay
    means = np.zeros(9)
    means[6] = FALL_S - state.fall_s
    means[7] = np.log(bar.omega / state.omega)
    means[8] = np.log(bar.decay / state.decay)
    u_moment = 1e-4 if fixed else 3.0 * trace.period
    sds = np.concatenate([sds, [u_moment, U_FALL_S, bar.u_ln, bar.u_ln_decay]])
    return _solved(rows, y, trace.noise, (means, sds))


def _solved(rows: Floats, y: Floats, noise: float, prior: tuple[Floats, Floats]) -> Fit:
    """Least squares by the normal equations: as `least_squares.fit`, a third of the time.

    Args:
        rows: The design turned, shape (p, n).
        y: Shape (n,).
        noise: Standard deviation of one sample.
        prior: Means and deviations of the coefficients, shape (p,) each; infinite is free.
    """
    means, sds = prior
    weight = 1.0 / sds**2
    normal = rows @ rows.T / noise**2
    normal.flat[:: len(weight) + 1] += weight
    scale = 1.0 / np.sqrt(np.maximum(normal.diagonal(), 1e-30))
    scales = scale[:, None] * scale
    inverse = np.linalg.inv(normal * scales) * scales
    coefficients = np.zeros(len(weight))
    # The second round takes away what squaring the design costs in digits.
    for _ in range(2):
        rest, off = y - coefficients @ rows, means - coefficients
        coefficients = coefficients + inverse @ (rows @ rest / noise**2 + weight * off)
    rest, off = y - coefficients @ rows, means - coefficients
    chi2 = float(rest @ rest) / noise**2 + float(off @ (weight * off))
    degrees = max(1, len(y) + int(np.count_nonzero(weight)) - len(weight))
    return Fit(
        coefficients=coefficients,
        covariance=max(1.0, chi2 / degrees) * inverse,
        chi2=chi2,
        degrees=degrees,
        residuals=rest,
    )


def _fall_columns(trace: Trace, state: BarState) -> Floats:
    """What is left of the fall, and its derivatives by moment, duration, ln ω and ln α."""
    h, longer_s = 0.25 * trace.period, 0.002
    variants = np.array([[state.omega, state.decay, state.fall_s, 0.0]] * 6)
    variants[1, 3], variants[2, 3] = h, -h
    variants[3, 2] += longer_s
    variants[4, 0] *= 1.02
    variants[5, 1] *= 1.05
    here, sooner, later, wider, quicker, damped = fallen_variants(
        trace.t - state.begin_s, variants, trace.boxes_s
    )
    return np.stack(
        [
            here,
            (later - sooner) / (2.0 * h),
            (wider - here) / longer_s,
            (quicker - here) / np.log(1.02),
            (damped - here) / np.log(1.05),
        ]
    )
