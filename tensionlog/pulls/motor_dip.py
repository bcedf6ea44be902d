"""One release on a motor head, fitted and held against what explains it without one."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALL_S, FALLS_S, U_FALL_S, look_up, solve_many
from tensionlog.pulls.hold import SEEN_RATIO
from tensionlog.pulls.least_squares import Fit, fit
from tensionlog.pulls.motor import Motor, Tables
from tensionlog.pulls.motor_hold import Held
from tensionlog.pulls.motor_near import (
    BEFORE_S,
    Guess,
    Near,
    State,
    best_made_good,
    best_of,
    lasting_steps,
    near_to,
    solve,
    teeth,
)

Floats = NDArray[np.float64]

SEEN_RATIO_MOTOR = 0.6 * SEEN_RATIO
"""A step is told from zero by what it explains (the chi-squares below); its own doubt, which
grants the model its faults, need only be cleared by this much."""

U_START_S = 0.05
"""How well the search knows when the motor started."""

BETTER_BY = 24.0
"""Chi-square by which a release must beat the best motor start without one."""

LASTING_BETTER_BY = 34.0
"""The same for a fall that is not made good: a bend of the string's own looks like it."""

U_SHARE, U_TOOTH = 0.015, 0.09
"""What the model leaves out (where the motor stops, how its band's edges wander), as
shares of the drop and of the tooth: found on two independent models of such a head."""

BENDS_WORTH = 12.0
"""What a bend may explain by its freedom alone: it has two moments, a release one."""

MOST_OVER = 0.35
"""A knock falls from above the band, a release from within it: so many teeth at most."""

WORST_TEETH = 3.0
"""A fall known no better than to so many teeth was fitted to a gap."""

RESTING_MISFIT = 1.25
"""Reduced chi-square above which the motor may have been at it before the fall."""

BEND_SHARE = 0.012
"""A string bends down by this share of its tension in a second, standard uncertainty."""

CLEAR_GAIN = 100.0
"""Beyond this no other moment need be looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dip:
    """A fall that was fitted.

    Attributes:
        drop: Its size, positive downward.
        u_drop: One standard uncertainty, moment and time constant included.
        begin_s: When it begins.
        before: The reading just before.
        lasting: Whether the motor left it as it is.
        gain: Chi-square by which it beats the best motor start without a fall.
        ln_tau: Fitted ln(τ/motor's), and its standard uncertainty.
        over: By how much the reading before stands above where it comes back to.
        slope: Fitted relaxation per decade, and its standard uncertainty.
        misfit: Reduced chi-square.
    """

    drop: float
    u_drop: float
    begin_s: float
    before: float
    lasting: bool
    gain: float
    over: float
    ln_tau: tuple[float, float]
    slope: tuple[float, float]
    misfit: float

    @property
    def seen(self) -> bool:
        """Whether it is told from zero and from a tooth of the motor's own."""
        needed = LASTING_BETTER_BY if self.lasting else BETTER_BY
        return self.gain > needed and self.drop > SEEN_RATIO_MOTOR * self.u_drop


def fit_dip(hold: Held, motor: Motor, at: float) -> Dip | None:
    """Fit a fall close to `at`, and what explains the reading without one."""
    near = near_to(hold, motor, at)
    if near is None:
        return None
    tables = motor.tables(near.trace.boxes_s)
    made_good = best_made_good(near, tables, motor)
    lasting = best_of(near, tables, lasting_steps(near, motor))
    dip = _compared(near, motor, min(made_good, lasting, key=lambda s: s.chi2))
    if dip.u_drop > WORST_TEETH * near.tooth:
        return None
    resting = dip.slope[0] < 0.3 * near.prior[0][1] and dip.misfit < RESTING_MISFIT
    if resting and not near.wide:
        return dip
    pulling = _while_pulling(near, hold, motor, made_good)
    allowed = 1.3 * dip.misfit + 0.3 if near.wide else dip.misfit
    return dip if pulling is None or pulling.misfit > allowed else pulling


def _compared(near: Near, motor: Motor, state: State) -> Dip:
    """A release refined, against the best that is explained without one."""
    tables = motor.tables(near.trace.boxes_s)
    null = float(solve(near, tables, teeth(near, motor)).chi2.min())
    dip = refined(near, motor, state, null)
    if dip.over > MOST_OVER * near.tooth and dip.drop < 3.0 * near.tooth:
        return replace(dip, gain=0.0)
    if not dip.seen or dip.gain > CLEAR_GAIN:
        return dip
    less = (null - _bent(near, tables)) / max(1.0, dip.misfit) - BENDS_WORTH
    return replace(dip, gain=dip.gain - max(less, 0.0))


def _bent(near: Near, tables: Tables) -> float:
    """Least chi-square of a reading that bends down where the motor stops.

    A string that the motor has just left relaxes faster than its age says; it goes down
    for a tenth of a second or two, until the motor starts again.
    """
    t = near.trace.t
    bends = np.arange(t[0] - 0.05, t[-1] - 0.04, 0.03)
    waits = np.append(np.arange(0.08, 0.4, 0.06), np.inf)
    bend, wait = (a.ravel()[:, None] for a in np.meshgrid(bends, waits, indexing="ij"))
    design = np.stack(
        [
            np.ones((len(bend), len(t))),
            np.broadcast_to(t - near.at, (len(bend), len(t))),
            np.clip(t - near.delay_s - bend, 0.0, wait),
            look_up(tables.pulled, t - bend - wait),
        ],
        axis=2,
    )
    steep = BEND_SHARE * abs(near.prior[0][0])
    prior = np.zeros(4), np.array([1e3 * near.tooth, steep, steep, 2.0 * near.tooth])
    y = near.trace.y - near.prior[0][0]
    return float(solve_many(design, y, near.trace.noise, prior).chi2.min())


def _while_pulling(near: Near, hold: Held, motor: Motor, rough: State) -> Dip | None:
    """A release that falls while the motor makes a tooth of its own good."""
    at = rough.fall_t
    last = float(near.trace.t[-1])
    kept = (hold.trace.t > at - BEFORE_S[1] - 0.1) & (hold.trace.t <= last)
    if (kept & (hold.trace.t < at)).sum() < 8:
        return None
    trace = hold.trace.kept(kept)
    loss = motor.share * hold.level
    means = np.array([near.prior[0][0], -loss, near.tooth, 0.0])
    sds = np.array([np.inf, motor.u_share * hold.level, 0.3 * near.tooth, 10.0 * hold.level])
    wider = replace(near, trace=trace, prior=(means, sds))
    starts = at - np.arange(0.02, 2.0 * motor.tau_s + 0.05, 0.02)
    moments = at + trace.period * np.arange(-2.0, 2.1, 0.5)
    m, start, f = (
        a.ravel() for a in np.meshgrid(moments, starts, [rough.fall_s], indexing="ij")
    )
    guess = Guess(
        fall_t=m, start_t=start, fall_s=f, share=0.0, pull_s=rough.pull_s + motor.tau_s
    )
    best = best_of(wider, motor.tables(trace.boxes_s), guess)
    return _compared(wider, motor, replace(best, pulling=True))


def refined(near: Near, motor: Motor, state: State, null: float) -> Dip:
    """Linear in everything around the best of the grid; a few steps of the moment."""
    tables = motor.tables(near.trace.boxes_s)
    period = near.trace.period
    result = _linearised(near, tables, state, motor)
    best = state, result
    for _ in range(6):
        step = float(np.clip(result.coefficients[4], -0.35 * period, 0.35 * period))
        longer = float(np.clip(result.coefficients[5], -0.006, 0.006))
        fall_s = float(np.clip(state.fall_s + longer, FALLS_S[0], FALLS_S[-1]))
        if abs(step) < 0.02 * period and abs(fall_s - state.fall_s) < 0.001:
            break
        start = float(np.clip(result.coefficients[7], -0.03, 0.03)) if state.pulling else step
        state = replace(
            state, fall_t=state.fall_t + step, start_t=state.start_t + start, fall_s=fall_s
        )
        result = _linearised(near, tables, state, motor)
        if result.chi2 < best[1].chi2:
            best = state, result
    state, result = best
    used = max(1, len(near.trace.t) - 7)
    misfit = result.chi2 / used
    c = result.coefficients
    return Dip(
        drop=float(c[3]),
        u_drop=float(np.hypot(result.u(3), np.hypot(U_SHARE * c[3], U_TOOTH * near.tooth))),
        begin_s=state.fall_t,
        before=near.prior[0][0] + _level_at(near, tables, state, c),
        lasting=state.share < 0.0,
        gain=(null - result.chi2) / max(1.0, misfit),
        over=0.0 if state.share < 0.0 or state.pulling else -float(c[2]),
        ln_tau=(float(c[6]), result.u(6)),
        slope=(float(c[1]), result.u(1)),
        misfit=misfit,
    )


def _level_at(near: Near, tables: Tables, state: State, c: Floats) -> float:
    """Reading without the fall as it begins, against the prior's level."""
    shown = np.array([state.fall_t + near.delay_s])
    end = np.array(near.trace.t[-1])
    level = float(c[0] + c[1] * near.relaxed(shown, np.minimum(state.start_t, end), end)[0])
    if not state.pulling:
        return level
    return level + float(c[2] * look_up(tables.pulled, shown - state.start_t)[0])


def _linearised(near: Near, tables: Tables, state: State, motor: Motor) -> Fit:
    """Fit of level, relaxation, rise, drop, moment, duration, ln τ and start."""
    linear, shapes = _columns(near, tables, state)
    means, sds = near.prior[0].copy(), near.prior[1]
    y = near.trace.y - means[0]
    means[0] = 0.0
    drop = state.coefficients[3]
    u_share = 0.01 + 0.25 * min(1.0, near.tooth / max(drop, 1e-9))
    last = U_START_S if state.pulling else u_share
    means = np.concatenate([means, [0.0, FALL_S - state.fall_s, 0.0, 0.0]])
    sds = np.append(sds, [2.0 * near.trace.period, U_FALL_S, motor.u_ln_tau, last])
    white = np.full(len(y), 1.0 / near.trace.noise)
    return fit(np.column_stack([*linear, *shapes]), y, white, (means, sds))


def _columns(near: Near, tables: Tables, state: State) -> tuple[list[Floats], list[Floats]]:
    """Columns of what is linear, and derivatives by moment, duration, ln τ and start."""
    t, h = near.trace.t, 0.25 * near.trace.period
    _, _, rise, drop = state.coefficients
    lasting = state.share < 0.0
    fall = tables.fall(state.fall_s, state.share)
    start = np.array(min(state.start_t, t[-1]))
    rest = np.minimum(start + state.pull_s, t[-1])
    moving = np.minimum(t, rest + near.delay_s)
    since, elapsed = moving - state.start_t, moving - state.fall_t

    def shown(shift: float) -> tuple[Floats, Floats]:
        pulled = look_up(tables.pulled, since + shift)
        dip = look_up(fall, elapsed + shift)
        return pulled, dip - pulled if lasting else dip

    (pulled, dip), (pulled_in, dip_in), (pulled_out, dip_out) = shown(0.0), shown(h), shown(-h)
    by_start = -rise * (pulled_in - pulled_out) / (2.0 * h)
    by_moment = drop * (dip_in - dip_out) / (2.0 * h)
    if not state.pulling:
        by_moment += by_start
    by_fall = -drop * look_up(tables.by_fall(state.fall_s, state.share), elapsed)
    by_tau = rise * look_up(tables.pulled_slope, since)
    by_share = np.zeros_like(t)
    if lasting:
        by_tau += drop * look_up(tables.pulled_slope, since)
    else:
        by_tau -= drop * look_up(tables.by_tau(state.fall_s, state.share), elapsed)
        by_share = -drop * look_up(tables.by_share(state.fall_s), elapsed)
    linear = [np.ones_like(t), near.relaxed(t, start, rest), pulled, -dip]
    return linear, [by_moment, by_fall, by_tau, by_start if state.pulling else by_share]
