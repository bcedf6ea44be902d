"""What the reading around a moment may be: releases of all kinds, and teeth without one.

Every hypothesis is linear in level, relaxation, rise to the upper edge and drop once its
moments are given; hundreds of them are solved together.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALLS_S, Solved, Trace, look_up, solve_many
from tensionlog.pulls.motor import Motor, Tables
from tensionlog.pulls.motor_hold import Held

Floats = NDArray[np.float64]

BEFORE_S = (0.4, 0.25, 0.15, 0.08)
"""How much of the hold before the fall is looked at."""

REST_SHARE = 0.08
"""The motor stops where less than about this share of its band is left to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
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
        age, start, rest = (self._aged(x) for x in (t - self.delay_s, start_t, rest_t))
        # The logarithm grows with time, so that it may be cut instead of the time.
        return np.minimum(age, start) + np.maximum(age - rest, 0.0)

    def _aged(self, t: Floats) -> Floats:
        since = np.clip(t - self.top_t, 0.0, 1e3) + 0.2
        result: Floats = np.log10(since / (self.at - self.top_t + 0.2))
        return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
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


def near_to(hold: Held, motor: Motor, at: float) -> Near | None:
    """The surroundings of a moment; None too close to the hold's ends."""
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
    sds = np.array([np.inf, motor.u_share * hold.level, 0.4 * tooth, 10.0 * hold.level])
    if wide:  # The motor may be pulling: up to a tooth in one time constant.
        age = float(at - hold.top_t) + 0.2
        sds[1] = 2.0 * tooth / motor.tau_s * age * np.log(10.0)
    return Near(
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


def lasting_steps(near: Near, motor: Motor) -> Guess:
    """Falls that last until the motor starts of itself, or for good."""
    moments = near.at + near.trace.period * np.arange(-2.0, 2.1, 0.5)
    later = (
        near.at
        + sum(near.trace.boxes_s)
        + np.append(np.arange(0.05, near.trace.t[-1] - near.at, 0.12), np.inf)
    )
    m, start = (a.ravel() for a in np.meshgrid(moments, later, indexing="ij"))
    return Guess(
        fall_t=m,
        start_t=start,
        fall_s=np.full(len(m), FALLS_S[2]),
        share=-1.0,
        pull_s=2.6 * motor.tau_s,
    )


def teeth(near: Near, motor: Motor) -> Guess:
    """Motor starts without a release, from well before the stretch to its end."""
    t = near.trace.t
    starts = np.append(np.arange(t[0] - 2.5 * motor.tau_s, t[-1], 0.02), np.inf)
    return Guess(
        fall_t=np.full(len(starts), near.at),
        start_t=starts,
        fall_s=np.zeros(len(starts)),
        share=-1.0,
        pull_s=2.6 * motor.tau_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One hypothesis: moment, duration and motor start, with its linear solution."""

    fall_t: float
    start_t: float
    fall_s: float
    share: float
    pull_s: float
    chi2: float
    coefficients: Floats
    pulling: bool = False


def best_made_good(near: Near, tables: Tables, motor: Motor) -> State:
    """The best dip: when the motor starts follows from the band and the drop."""
    moments = near.at + near.trace.period * np.arange(-2.5, 2.6, 0.5)
    m, f = (a.ravel() for a in np.meshgrid(moments, FALLS_S[::2], indexing="ij"))
    share, pull_s = 0.0, 3.0 * motor.tau_s
    best: State | None = None
    for _ in range(2):
        start = m + share * f
        guess = Guess(fall_t=m, start_t=start, fall_s=f, share=share, pull_s=pull_s)
        best = best_of(near, tables, guess)
        _, slope, rise, drop = best.coefficients
        drop = max(drop, 0.2 * near.tooth)
        pulling = near.wide and slope > 0.5 * near.prior[0][1]
        share = 0.0 if pulling else float(np.clip((near.tooth - rise) / drop, 0.0, 1.0))
        depth = (drop + max(rise, 0.0)) / near.tooth
        pull_s = motor.tau_s * float(np.log(max(depth, 0.3) / REST_SHARE))
    assert best is not None  # the loop ran
    return best


def best_of(near: Near, tables: Tables, guess: Guess) -> State:
    """The hypothesis that fits best; one that rises only where none falls."""
    solved = solve(near, tables, guess)
    chi2 = solved.chi2 + np.where(solved.coefficients[:, 3] > 0.0, 0.0, 1e3)
    k = int(np.argmin(chi2))
    return State(
        fall_t=float(guess.fall_t[k]),
        start_t=float(guess.start_t[k]),
        fall_s=float(guess.fall_s[k]),
        share=guess.share,
        pull_s=guess.pull_s,
        chi2=float(solved.chi2[k]),
        coefficients=solved.coefficients[k],
    )


def solve(near: Near, tables: Tables, guess: Guess) -> Solved:
    """Level, relaxation, rise and drop of every hypothesis, level against the prior's."""
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
