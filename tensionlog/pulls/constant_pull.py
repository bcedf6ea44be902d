"""A hold on a motor head: a dip that the motor makes good, over a saw-tooth.

The motor rests inside its dead band while the string relaxes, and pulls back to its
upper edge when the lower one is reached; a clamp that opens makes it do the same with
a fall in front. A release is told from a tooth by comparison: what one motor start
anywhere near explains without a fall is no release.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import (
    CONVERTERS,
    FALL_S,
    FALLS_S,
    U_FALL_S,
    USUAL_CONVERTER,
    Solved,
    Trace,
    look_up,
    shrunk,
    solve_many,
    trace_of,
)
from tensionlog.pulls.least_squares import Fit, fit
from tensionlog.pulls.lockout import SEEN_RATIO, Hold
from tensionlog.pulls.motor import Motor, Tables
from tensionlog.pulls.quiet import disturbed
from tensionlog.pulls.shape import CLAMP_PUSH_S, Shape

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this a dip of 0.2–1 s is gone within the converter's own settling."""

MOST_DIPS = 8
"""Dips that a motor is learned from, the deepest of the job."""

REACTIONS_S = (0.012, 0.02, 0.03)
"""Lags of sensor and motor that are tried after none at all."""

OVERSHOOT_S = 0.2
"""How long the last of an overshoot or a pre-stretch takes to come down."""

BEFORE_S = (0.4, 0.25, 0.15, 0.08)
"""How much of the hold before the fall is looked at."""

REST_SHARE = 0.08
"""The motor stops where less than about this share of its band is left to do."""

U_START_S = 0.05
"""How well the search knows when the motor started."""

BETTER_BY = 24.0
"""Chi-square by which a release must beat the best motor start without one."""

LASTING_BETTER_BY = 34.0
"""The same for a fall that is not made good: a bend of the string's own looks like it."""

U_SHARE, U_TOOTH = 0.012, 0.04
"""What the model leaves out (where the motor stops, how its band's edges wander), as
shares of the drop and of the tooth: found on two independent models of such a head."""

HIDDEN = 2.0
"""A fall of a few deviations hides among the teeth: an unseen one is so much less sure."""

CLEAR_GAIN = 100.0
"""Beyond this no other moment need be looked at."""

WORTH_A_LOOK = 2.5
"""A further moment is looked at where the filters find so many deviations."""


def read_constant_pull(
    shape: Shape, *, motor: Motor, release_at: float | None = None
) -> Hold | None:
    """Find the dip and its size.

    Args:
        shape: The pull with its landmarks.
        motor: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    begin, stop = settled_part(shape)
    if stop - begin < 6:
        return None
    if 1.0 / shape.period < LOWEST_RATE_HZ:
        return _without_release(shape.y[begin:stop], dip=None)
    hold = hold_of(shape, motor)
    near = _candidates(hold, motor) if release_at is None else [release_at]
    dip: Dip | None = None
    for at in near:
        found = fit_dip(hold, motor, at)
        if found is not None and (dip is None or found.gain > dip.gain):
            dip = found
        if dip is not None and dip.gain > CLEAR_GAIN:
            break
    if dip is None:
        return _without_release(hold.trace.y, dip=None)
    if release_at is None and not dip.seen:
        return _without_release(hold.trace.y, dip=dip)
    return _released(hold.trace, dip)


def settled_part(shape: Shape) -> tuple[int, int]:
    """Index range of the hold in which a release can lie, pre-stretch and overshoot out."""
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - CLAMP_PUSH_S, "right"))
    hold = shape.y[shape.top : stop]
    if len(hold) < 6:
        return shape.top, shape.top
    level = float(np.median(hold))
    reach = int(np.searchsorted(shape.t, shape.t[shape.top] + 0.3)) - shape.top
    high = hold > 1.012 * level + 4.0 * shape.noise
    if not high[: max(1, reach)].any():
        return int(np.searchsorted(shape.t, shape.t[shape.top] + OVERSHOOT_S)), stop
    first = int(np.argmax(high))
    low = np.flatnonzero(~high[first:])
    over = shape.top + first + (int(low[0]) if len(low) else 0)
    return int(np.searchsorted(shape.t, shape.t[over] + OVERSHOOT_S)), stop


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A settled hold, thinned, with what a hand did to it left out.

    Attributes:
        trace: What is left.
        top_t: The ramp's end.
        level: Its median.
    """

    trace: Trace
    top_t: float
    level: float


def hold_of(shape: Shape, motor: Motor) -> Held:
    """The settled part of a pull as it is fitted."""
    begin, stop = settled_part(shape)
    trace = trace_of(
        shape.t[begin:stop],
        shape.y[begin:stop],
        noise=shape.noise,
        period=shape.period,
        converter=motor.converter,
    )
    level = float(np.median(trace.y))
    trace = trace.kept(~disturbed(trace, level=level))
    return Held(trace=trace, top_t=float(shape.t[shape.top]), level=level)


def _candidates(hold: Held, motor: Motor) -> list[float]:
    """Moments at which the reading falls most, by two filters: made good, and lasting."""
    trace, period = hold.trace, hold.trace.period
    if len(trace.t) < 16:
        return []
    t = np.arange(trace.t[0], trace.t[-1], period)
    y = np.interp(t, trace.t, trace.y)
    tables = motor.tables(trace.boxes_s)
    dip, step = tables.dips[1, 0], tables.steps[1]
    tooth = motor.tooth * hold.level
    after = min(0.08 + 1.5 * motor.tau_s, 0.4)
    made_good = _filtered(y, trace, [dip, tables.pulled], [np.inf, tooth], after)
    lasting = _filtered(y, trace, [step], [np.inf], 0.14)
    apart = max(2, round(0.05 / period))
    chosen: list[int] = []
    for score in (made_good, made_good, lasting):
        at = int(np.argmax(score))
        if score[at] > (WORTH_A_LOOK if chosen else 0.0):
            if all(abs(at - other) > apart for other in chosen):
                chosen.append(at)
            score[max(0, at - apart) : at + apart] = 0.0
    return [float(t[at]) for at in chosen]


def _filtered(
    y: Floats, trace: Trace, shapes: list[Floats], sds: list[float], after_s: float
) -> Floats:
    """Size over uncertainty of a fall at each sample of `y`; shape of `y`."""
    before = max(4, round(0.12 / trace.period))
    x: Floats = trace.period * np.arange(-before, round(after_s / trace.period) + 1.0)
    signs = [-1.0] + [1.0] * (len(shapes) - 1)
    columns = [s * look_up(table, x) for s, table in zip(signs, shapes, strict=True)]
    design = np.column_stack([*columns, np.ones_like(x), x])
    held = np.append(trace.noise / np.array(sds), [0.0, trace.noise / 3.0])
    inverse = np.linalg.inv(design.T @ design + np.diag(held**2))
    weights = inverse[0] @ design.T / np.sqrt(inverse[0, 0]) / trace.noise
    score = np.zeros_like(y)
    if len(y) >= len(x):
        inside = np.convolve(y - y.mean(), weights[::-1], "valid")
        score[before : before + len(inside)] = inside
    return score


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
        slope: Fitted relaxation per decade, and its standard uncertainty.
        misfit: Reduced chi-square.
    """

    drop: float
    u_drop: float
    begin_s: float
    before: float
    lasting: bool
    gain: float
    ln_tau: tuple[float, float]
    slope: tuple[float, float]
    misfit: float

    @property
    def seen(self) -> bool:
        """Whether it is told from zero and from a tooth of the motor's own."""
        needed = LASTING_BETTER_BY if self.lasting else BETTER_BY
        return self.gain > needed and self.drop > SEEN_RATIO * self.u_drop


@dataclass(frozen=True, slots=True, kw_only=True)
class _Near:
    """The surroundings of a candidate.

    Attributes:
        trace: Samples from the straight stretch before to the rest behind.
        top_t: The ramp's end.
        at: The candidate.
        tooth: Height of the saw-tooth.
        prior: Means and deviations of level, relaxation, rise, drop.
        wide: Whether the motor may be pulling already.
    """

    trace: Trace
    top_t: float
    at: float
    tooth: float
    prior: tuple[Floats, Floats]
    wide: bool

    @property
    def delay_s(self) -> float:
        """By how much the converter shows a slow change late."""
        return 0.5 * sum(self.trace.boxes_s)

    def relaxed(self, t: Floats, start_t: Floats, rest_t: Floats) -> Floats:
        """Decades of time from the candidate to `t`, less those the motor pulled in."""
        t = t - self.delay_s
        return self._aged(np.minimum(t, start_t)) + (
            self._aged(np.maximum(t, rest_t)) - self._aged(rest_t)
        )

    def _aged(self, t: Floats) -> Floats:
        since = np.clip(t - self.top_t, 0.0, 1e3) + 0.2
        result: Floats = np.log10(since / (self.at - self.top_t + 0.2))
        return result


@dataclass(frozen=True, slots=True, kw_only=True)
class _Guess:
    """Moments of fall and motor start for many hypotheses, shape (b,) each.

    Attributes:
        fall_t: When the fall begins.
        start_t: When the motor starts; `inf` for never.
        fall_s: How long it takes; 0 for no fall at all.
        share: Share of the fall after which the motor starts, −1 for a start of its own.
        pull_s: How long the motor then pulls.
    """

    fall_t: Floats
    start_t: Floats
    fall_s: Floats
    share: float
    pull_s: float


def fit_dip(hold: Held, motor: Motor, at: float) -> Dip | None:
    """Fit a fall close to `at`, and what explains the reading without one."""
    near = _near(hold, motor, at)
    if near is None:
        return None
    tables = motor.tables(near.trace.boxes_s)
    made_good = _best_made_good(near, tables, motor)
    lasting = _best(near, tables, _steps(near, motor))
    dip = _compared(near, motor, min(made_good, lasting, key=lambda s: s.chi2))
    if not near.wide:
        return dip
    pulling = _while_pulling(near, hold, motor, made_good)
    return dip if pulling is None or pulling.misfit > 1.3 * dip.misfit + 0.3 else pulling


def _compared(near: _Near, motor: Motor, state: "_State") -> Dip:
    """A release refined, against the best motor start without one."""
    tables = motor.tables(near.trace.boxes_s)
    null = _solve(near, tables, _teeth(near, motor)).chi2.min()
    return _refined(near, motor, state, float(null))


def _while_pulling(near: _Near, hold: Held, motor: Motor, rough: "_State") -> Dip | None:
    """A release that falls while the motor makes a tooth of its own good."""
    at = rough.fall_t
    last = float(near.trace.t[-1])
    kept = (hold.trace.t > at - BEFORE_S[1] - 0.1) & (hold.trace.t <= last)
    if (kept & (hold.trace.t < at)).sum() < 8:
        return None
    trace = hold.trace.kept(kept)
    loss = motor.share * hold.level
    means = np.array([near.prior[0][0], -loss, near.tooth, 0.0])
    sds = np.array([np.inf, motor.u_share * hold.level, 0.3 * near.tooth, 1e6])
    wider = replace(near, trace=trace, prior=(means, sds))
    starts = at - np.arange(0.02, 2.0 * motor.tau_s + 0.05, 0.02)
    moments = at + trace.period * np.arange(-2.0, 2.1, 0.5)
    m, start, f = (
        a.ravel() for a in np.meshgrid(moments, starts, [rough.fall_s], indexing="ij")
    )
    guess = _Guess(
        fall_t=m, start_t=start, fall_s=f, share=0.0, pull_s=rough.pull_s + motor.tau_s
    )
    best = _best(wider, motor.tables(trace.boxes_s), guess)
    return _compared(wider, motor, replace(best, pulling=True))


def _near(hold: Held, motor: Motor, at: float) -> _Near | None:
    trace = hold.trace
    index = int(np.searchsorted(trace.t, at - 1.2 * trace.period))
    settle = sum(trace.boxes_s) + FALLS_S[-1]
    last = int(np.searchsorted(trace.t, at + settle + 3.0 * motor.tau_s))
    if index < 4 or last - index < 7 or trace.t[index] - at > 0.1:
        return None
    first, wide = _straight_before(trace, index - 1)
    tooth = motor.tooth * hold.level
    loss = motor.share * hold.level
    means = np.array([float(np.median(trace.y[first:index])), -loss, 0.5 * tooth, 0.0])
    sds = np.array([np.inf, motor.u_share * hold.level, 0.4 * tooth, 1e6])
    if wide:  # The motor may be pulling: up to a tooth in one time constant.
        age = float(at - hold.top_t) + 0.2
        sds[1] = 2.0 * tooth / motor.tau_s * age * np.log(10.0)
    return _Near(
        trace=trace.kept(slice(first, last)),
        top_t=hold.top_t,
        at=at,
        tooth=tooth,
        prior=(means, sds),
        wide=wide,
    )


def _straight_before(trace: Trace, at: int) -> tuple[int, bool]:
    """Where the longest straight stretch that ends at index `at` begins.

    Returns:
        Its first index, and whether it is too short to be sure that the motor rests.
    """
    t, y = trace.t, trace.y
    for length_s in BEFORE_S:
        begin = int(np.searchsorted(t, t[at] - length_s))
        if at - begin < 5:
            continue
        x = t[begin:at] - t[begin:at].mean()
        part = y[begin:at] - y[begin:at].mean()
        rest = part - x * (float(x @ part) / float(x @ x))
        degrees = at - begin - 2
        chi2 = float(rest @ rest) / trace.noise**2
        if chi2 < degrees + 2.5 * np.sqrt(2.0 * degrees):
            return begin, length_s < 0.2
    return max(0, at - 5), True


def _steps(near: _Near, motor: Motor) -> _Guess:
    """Falls that last until the motor starts of itself, or for good."""
    moments = near.at + near.trace.period * np.arange(-2.0, 2.1, 0.5)
    later = near.at + sum(near.trace.boxes_s) + np.append(
        np.arange(0.05, near.trace.t[-1] - near.at, 0.12), np.inf
    )
    m, start = (a.ravel() for a in np.meshgrid(moments, later, indexing="ij"))
    return _Guess(
        fall_t=m,
        start_t=start,
        fall_s=np.full(len(m), FALLS_S[2]),
        share=-1.0,
        pull_s=2.6 * motor.tau_s,
    )


def _teeth(near: _Near, motor: Motor) -> _Guess:
    """Motor starts without a release, from well before the stretch to its end."""
    t = near.trace.t
    starts = np.append(np.arange(t[0] - 2.5 * motor.tau_s, t[-1], 0.02), np.inf)
    return _Guess(
        fall_t=np.full(len(starts), near.at),
        start_t=starts,
        fall_s=np.zeros(len(starts)),
        share=-1.0,
        pull_s=2.6 * motor.tau_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """One hypothesis: moment, duration and motor start, with its linear solution."""

    fall_t: float
    start_t: float
    fall_s: float
    share: float
    pull_s: float
    chi2: float
    coefficients: Floats
    pulling: bool = False


def _best_made_good(near: _Near, tables: Tables, motor: Motor) -> _State:
    """The best dip: when the motor starts follows from the band and the drop."""
    moments = near.at + near.trace.period * np.arange(-2.5, 2.6, 0.5)
    m, f = (a.ravel() for a in np.meshgrid(moments, FALLS_S[::2], indexing="ij"))
    share, pull_s = 0.0, 3.0 * motor.tau_s
    best: _State | None = None
    for _ in range(2):
        start = m + share * f
        guess = _Guess(fall_t=m, start_t=start, fall_s=f, share=share, pull_s=pull_s)
        best = _best(near, tables, guess)
        _, slope, rise, drop = best.coefficients
        drop = max(drop, 0.2 * near.tooth)
        pulling = near.wide and slope > 0.5 * near.prior[0][1]
        share = 0.0 if pulling else float(np.clip((near.tooth - rise) / drop, 0.0, 1.0))
        depth = (drop + max(rise, 0.0)) / near.tooth
        pull_s = motor.tau_s * float(np.log(max(depth, 0.3) / REST_SHARE))
    assert best is not None  # the loop ran
    return best


def _best(near: _Near, tables: Tables, guess: _Guess) -> _State:
    solved = _solve(near, tables, guess)
    chi2 = solved.chi2 + np.where(solved.coefficients[:, 3] > 0.0, 0.0, 1e3)
    k = int(np.argmin(chi2))
    return _State(
        fall_t=float(guess.fall_t[k]),
        start_t=float(guess.start_t[k]),
        fall_s=float(guess.fall_s[k]),
        share=guess.share,
        pull_s=guess.pull_s,
        chi2=float(solved.chi2[k]),
        coefficients=solved.coefficients[k],
    )


def _solve(near: _Near, tables: Tables, guess: _Guess) -> Solved:
    t = near.trace.t
    start = np.minimum(guess.start_t, t[-1])[:, None]
    rest = np.minimum(start + guess.pull_s, t[-1])
    moving = np.minimum(t, rest + near.delay_s)
    pulled = look_up(tables.pulled, moving - guess.start_t[:, None])
    fall = np.zeros_like(pulled)
    for fall_s in np.unique(guess.fall_s[guess.fall_s > 0.0]):
        chosen = guess.fall_s == fall_s
        table = tables.fall(float(fall_s), guess.share)
        fall[chosen] = look_up(table, moving[chosen] - guess.fall_t[chosen, None])
    if guess.share < 0.0 and guess.fall_s[0] > 0.0:
        fall -= pulled
    slope = near.relaxed(t, start, rest)
    design = np.stack([np.ones_like(fall), slope, pulled, -fall], axis=2)
    means, sds = near.prior[0].copy(), near.prior[1]
    y = near.trace.y - means[0]
    means[0] = 0.0
    return solve_many(design, y, near.trace.noise, (means, sds))


def _refined(near: _Near, motor: Motor, state: _State, null: float) -> Dip:
    """Linear in everything around the best of the grid; a few steps of the moment."""
    tables = motor.tables(near.trace.boxes_s)
    period = near.trace.period
    result = _linearised(near, tables, state, motor)
    for _ in range(3):
        step = float(np.clip(result.coefficients[4], -0.5 * period, 0.5 * period))
        fall_s = float(np.clip(state.fall_s + result.coefficients[5], FALLS_S[0], FALLS_S[-1]))
        if abs(step) < 0.02 * period and abs(fall_s - state.fall_s) < 0.001:
            break
        start = float(np.clip(result.coefficients[7], -0.03, 0.03)) if state.pulling else step
        moved = replace(
            state, fall_t=state.fall_t + step, start_t=state.start_t + start, fall_s=fall_s
        )
        again = _linearised(near, tables, moved, motor)
        if again.chi2 > result.chi2 + 0.5:
            break
        state, result = moved, again
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
        ln_tau=(float(c[6]), result.u(6)),
        slope=(float(c[1]), result.u(1)),
        misfit=misfit,
    )


def _level_at(near: _Near, tables: Tables, state: _State, c: Floats) -> float:
    """Reading without the fall as it begins, against the prior's level."""
    shown = np.array([state.fall_t + near.delay_s])
    end = np.array(near.trace.t[-1])
    level = float(c[0] + c[1] * near.relaxed(shown, np.minimum(state.start_t, end), end)[0])
    if not state.pulling:
        return level
    return level + float(c[2] * look_up(tables.pulled, shown - state.start_t)[0])


def _linearised(near: _Near, tables: Tables, state: _State, motor: Motor) -> Fit:
    """Fit of level, relaxation, rise, drop, moment, ln τ and start around one state."""
    t, period = near.trace.t, near.trace.period
    h = 0.25 * period
    fall = tables.fall(state.fall_s, state.share)
    lasting = state.share < 0.0

    start = np.array(min(state.start_t, t[-1]))
    rest = np.minimum(start + state.pull_s, t[-1])
    moving = np.minimum(t, rest + near.delay_s)

    def columns(shift: float) -> tuple[Floats, Floats]:
        pulled = look_up(tables.pulled, moving - state.start_t + shift)
        dip = look_up(fall, moving - state.fall_t + shift)
        return pulled, dip - pulled if lasting else dip

    pulled, dip = columns(0.0)
    slope = near.relaxed(t, start, rest)
    design = np.column_stack([np.ones_like(t), slope, pulled, -dip])
    means, sds = near.prior[0].copy(), near.prior[1]
    y = near.trace.y - means[0]
    means[0] = 0.0
    _, _, rise, drop = state.coefficients
    (pulled_in, dip_in), (pulled_out, dip_out) = columns(h), columns(-h)
    by_start = -rise * (pulled_in - pulled_out) / (2.0 * h)
    by_moment = drop * (dip_in - dip_out) / (2.0 * h)
    if not state.pulling:
        by_moment += by_start
    pulled_slope = look_up(tables.pulled_slope, moving - state.start_t)
    if lasting:
        by_tau, by_share = (rise + drop) * pulled_slope, np.zeros_like(t)
    else:
        x = moving - state.fall_t
        dip_slope = look_up(tables.by_tau(state.fall_s, state.share), x)
        by_tau = rise * pulled_slope - drop * dip_slope
        by_share = -drop * look_up(tables.by_share(state.fall_s), x)
    if state.pulling:
        by_share = by_start
    by_fall = -drop * look_up(tables.by_fall(state.fall_s, state.share), moving - state.fall_t)
    means = np.concatenate([means, [0.0, FALL_S - state.fall_s, 0.0, 0.0]])
    u_share = 0.01 + 0.25 * min(1.0, near.tooth / max(drop, 1e-9))
    last = U_START_S if state.pulling else u_share
    sds = np.append(sds, [2.0 * period, U_FALL_S, motor.u_ln_tau, last])
    white = np.full(len(t), 1.0 / near.trace.noise)
    shapes = [by_moment, by_fall, by_tau, by_share]
    return fit(np.column_stack([design, *shapes]), y, white, (means, sds))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    motor: Motor
    dips: tuple[Dip, ...]

    @property
    def unexplained(self) -> float:
        """Median reduced chi-square: one dip with a hand on it must not choose the motor."""
        if len(self.dips) < 2:
            return np.inf
        return float(np.mean(np.log([dip.misfit for dip in self.dips])))


def learn_motor(shapes: Sequence[Shape]) -> Motor:
    """Find what a job's deepest dips have in common: one motor made them all good.

    The converter's averaging and the motor's lag are taken from a short list, whichever
    leaves least of the dips unexplained; the time constant is their mean.
    """
    usable = [s for s in shapes if s.period < 1.0 / LOWEST_RATE_HZ]
    motor = Motor(tooth=_tooth(usable))
    found = [f for shape in usable if (f := _deepest(shape, motor)) is not None]
    found = sorted(found, key=lambda f: -f.depth)[:MOST_DIPS]
    if len(found) < 3:
        return motor
    best = _tried(found, replace(motor, converter=CONVERTERS[-1]))
    for converter in CONVERTERS[:-1]:
        tried = _tried(found, replace(best.motor, converter=converter, u_ln_tau=0.3))
        best = min(best, tried, key=lambda t: t.unexplained)
    for reaction_s in REACTIONS_S:
        tried = _tried(found, replace(best.motor, reaction_s=reaction_s, u_ln_tau=0.3))
        if tried.unexplained >= best.unexplained:
            break
        best = tried
    return best.motor


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fallen:
    """A hold with a deep fall in it."""

    hold: Held
    period: float
    at: float
    depth: float

    def behind(self, converter: tuple[float, ...]) -> Held:
        """The hold as another converter would have shown it."""
        extra = self.hold.trace.boxes_s[len(USUAL_CONVERTER) :]
        boxes = (*(self.period * box for box in converter), *extra)
        return replace(self.hold, trace=replace(self.hold.trace, boxes_s=boxes))


def _deepest(shape: Shape, motor: Motor) -> _Fallen | None:
    """The greatest fall within what clamp and converter take, if it stands out."""
    begin, stop = settled_part(shape)
    if stop - begin < 16:
        return None
    hold = hold_of(shape, motor)
    trace = hold.trace
    few = max(2, round(0.025 / trace.period))
    across = max(1, round((4.0 * shape.period + 0.03) / trace.period))
    if len(trace.y) < 2 * few + across + 4:
        return None
    means = np.convolve(trace.y, np.ones(few) / few, "valid")
    fall = means[: -(few + across)] - means[few + across :]
    k = int(np.argmax(fall))
    if fall[k] < max(10.0 * trace.noise, 0.4 * motor.tooth * hold.level):
        return None
    at = float(trace.t[k + few - 1] + 0.5 * trace.period)
    return _Fallen(hold=hold, period=shape.period, at=at, depth=float(fall[k]))


def _tooth(shapes: Sequence[Shape]) -> float:
    """Height of the saw-tooth as a share of the level, over the job."""
    heights = []
    for shape in shapes:
        begin, stop = settled_part(shape)
        if stop - begin > 16:
            y = shape.y[begin:stop]
            low, high = np.quantile(y, [0.1, 0.85])
            heights.append((high - low) / 0.75 / shape.level)
    return float(np.clip(np.median(heights), 0.003, 0.02)) if heights else 0.008


def _tried(found: Sequence[_Fallen], motor: Motor) -> _Tried:
    """Dips as this motor's, its time constant brought to what they agree on."""
    dips: tuple[Dip, ...] = ()
    scatter = motor.u_ln_tau
    for _ in range(3):
        fitted = [_dip_alone(f.behind(motor.converter), motor, f.at) for f in found]
        dips = tuple(d for d in fitted if d is not None)
        if len(dips) < 2:
            return _Tried(motor=motor, dips=dips)
        ln_tau = np.array([d.ln_tau[0] for d in dips])
        weight = 1.0 / (np.array([d.ln_tau[1] for d in dips]) ** 2 + 0.04**2)
        mean = float((weight * ln_tau).sum() / weight.sum())
        scatter = float(1.4826 * np.median(np.abs(ln_tau - mean)))
        step = float(np.clip(mean, -0.4, 0.4))
        motor = replace(motor, tau_s=motor.tau_s * float(np.exp(step)), u_ln_tau=0.3)
        if abs(step) < 0.03:
            break
    return _Tried(motor=replace(motor, u_ln_tau=float(np.clip(scatter, 0.02, 0.2))), dips=dips)


def _dip_alone(hold: Held, motor: Motor, at: float) -> Dip | None:
    """A dip that is taken for a release that was made good, nothing else considered."""
    near = _near(hold, motor, at)
    if near is None:
        return None
    state = _best_made_good(near, motor.tables(near.trace.boxes_s), motor)
    return _refined(near, motor, state, 0.0)


def _without_release(y: Floats, dip: Dip | None) -> Hold:
    level = float(np.median(y))
    u = 1.2533 * float(np.std(y)) / np.sqrt(max(1.0, len(y) / 8.0))
    drop, u_drop = (None, None) if dip is None else shrunk(
        dip.drop, HIDDEN * dip.u_drop, gain=dip.gain
    )
    return Hold(
        top=level,
        release=level,
        u_release=u,
        at_3s=level,
        drop=drop,
        u_drop=u_drop,
        seen=False,
        release_s=None,
    )


def _released(trace: Trace, dip: Dip) -> Hold:
    """Levels before the fall and after the motor has made it good."""
    settled = trace.y[trace.t > dip.begin_s + 0.8]
    if dip.lasting:
        after = dip.before - dip.drop
    else:
        after = float(np.median(settled)) if len(settled) >= 4 else dip.before
    spread = float(np.std(settled if len(settled) >= 4 else trace.y))
    return Hold(
        top=dip.before,
        release=after,
        u_release=spread / np.sqrt(max(1.0, len(settled) / 8.0)),
        at_3s=dip.before,
        drop=dip.drop,
        u_drop=dip.u_drop,
        seen=True,
        release_s=dip.begin_s,
        misfit=float(np.sqrt(dip.misfit)),
    )
