"""A release on a motor whose switching is known: its course fitted in every mode.

From the surroundings of a candidate a start is searched for each way in which the motor
may meet the fall. What fits is then followed outward, sample by sample, until the motor
switches once more; of two modes that fit about as well, both are counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALLS_S
from tensionlog.pulls.motor import Motor
from tensionlog.pulls.motor_course import BEGIN, DROP, LEVEL, LN_TAU, MODES, SLOPE
from tensionlog.pulls.motor_dip import BETTER_BY, CLEAR_GAIN, Dip
from tensionlog.pulls.motor_exact import Fitted, stretch_of
from tensionlog.pulls.motor_follow import Followed, deviations, followed_out
from tensionlog.pulls.motor_hold import Held
from tensionlog.pulls.motor_near import Near, State, near_to, solve, teeth
from tensionlog.pulls.motor_starts import core, fitted_in, roughly, tooth_alone

Floats = NDArray[np.float64]

AS_WELL = 20.0
"""A mode is counted, too, where its chi-square is greater by less than this."""

ASIDE_S = 0.03
"""The fit stays so close to the moment that the tables gave."""

FEW_SAMPLES = 0.08
"""Samples this share of the time constant apart still tell when the motor started."""

WIDEN, U_SHARE, U_TEETH = 1.2, 0.01, 0.015
"""What one pull's fit does not know of what all share: a factor on its own doubt, and
shares of the drop and of the tooth (found on benches of another make than the twin)."""

FAR_SHARE = 0.3
"""An empty span behind takes at most about a quarter of the pull."""

WORTH = 0.2
"""A moment whose gain is a smaller share of the best one's need not be fitted."""

SHOWN_SHARE = 0.25
"""A dip's depth is 54–85 % of its drop; where the reading falls by less there was none."""

UNSURE_MISFIT = 3.0
"""Reduced chi-square of the tables' best beyond which they say nothing."""

HOPELESS = 4.0
"""A candidate that gains less chi-square than this in the tables is no release."""


def fit_release(hold: Held, motor: Motor, moments: Sequence[float]) -> Dip | None:
    """The best release close to one of some moments; None too close to the hold's ends.

    The tables say which moments are worth a fit; what a motor start alone explains as
    well is no release, and is fitted once, for its size.
    """
    looks = [look for at in moments if (look := _look(hold, motor, at)) is not None]
    looks.sort(key=lambda look: -look.gain)
    best: Dip | None = None
    for look in looks:
        hopeless = not look.unsure and look.gain < max(HOPELESS, WORTH * looks[0].gain)
        if best is not None and (hopeless or best.gain > CLEAR_GAIN):
            continue
        found = _fitted(hold, motor, look, hopeless=hopeless)
        if found is not None and (best is None or found.gain > best.gain):
            best = found
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """A moment as the tables have it.

    Attributes:
        rough: The best release close to it.
        gain: By how much chi-square it beats a motor start without one.
        unsure: Whether the tables fit too badly to say so.
        near: Its surroundings.
        first, last: Index range of the hold that is fitted first.
    """

    rough: State
    gain: float
    unsure: bool
    near: Near
    first: int
    last: int


def _look(hold: Held, motor: Motor, at: float) -> _Look | None:
    near = near_to(hold, motor, at)
    if near is None:
        return None
    rough = roughly(hold, near, motor)
    first, last = core(hold.trace, rough.fall_t, motor)
    if last - first < 10:
        return None
    gain = _without(near, motor) - rough.chi2
    unsure = rough.chi2 > UNSURE_MISFIT * len(near.trace.t)
    return _Look(rough=rough, gain=gain, unsure=unsure, near=near, first=first, last=last)


def _fitted(hold: Held, motor: Motor, look: _Look, *, hopeless: bool) -> Dip | None:
    """Fit the modes that are possible, and follow outward those that fit."""
    first, last = look.first, look.last
    deep = look.rough.coefficients[3] > 1.5 * motor.tooth * hold.level
    modes = MODES[: 1 if hopeless else 2 if deep else 3]
    at = look.rough.fall_t
    trace = hold.trace.kept(slice(first, last))
    stretch = stretch_of(trace, hold.top_t)
    # What a tooth alone explains is asked only where a release seems to explain more.
    alone = [] if hopeless else [tooth_alone(hold, motor, look.rough, stretch)]
    fits, teeth_alone = fitted_in(hold, motor, modes, look.rough, stretch, more=alone)
    some = [f for f in fits if _is_sane(f, hold, motor, at)]
    if not some:
        return None
    best = min(some, key=lambda f: f.chi2)
    null = _without(replace(look.near, trace=trace), motor)
    if (null - best.chi2) / max(1.0, best.misfit) > BETTER_BY:
        null = min([null, *(f.chi2 for f in teeth_alone)])
    gain = (null - best.chi2) / max(1.0, best.misfit)
    if hopeless or gain < HOPELESS:
        return _dip([Followed(fitted=best, first=first, last=last)], hold, motor, gain)
    kept = [f for f in some if f.chi2 - best.chi2 < AS_WELL * max(1.0, best.misfit)]
    wide = [followed_out(hold, motor, f, first, last) for f in kept]
    wide = [f for f in wide if _is_sane(f.fitted, hold, motor, at)]
    return _dip(wide, hold, motor, gain) if wide else None


def _is_sane(fitted: Fitted, hold: Held, motor: Motor, at: float) -> bool:
    """Whether a fall is told at all, and can be a release."""
    drop, begin = float(fitted.p[DROP]), float(fitted.p[BEGIN])
    settle = FALLS_S[-1] + sum(hold.trace.boxes_s) + hold.trace.period
    low, high = np.searchsorted(hold.trace.t, [begin, begin + settle])
    lowest = float(hold.trace.y[low : high + 1].min(initial=np.inf))
    shows = float(fitted.p[LEVEL]) - lowest > SHOWN_SHARE * drop
    told = fitted.u_drop < motor.tooth * hold.level and drop < FAR_SHARE * hold.level
    return shows and told and abs(begin - at) < max(3.0 * hold.trace.period, ASIDE_S)


def _without(near: Near, motor: Motor) -> float:
    """Least chi-square of a motor start anywhere in the stretch, without a fall."""
    tables = motor.tables(near.trace.boxes_s)
    return float(solve(near, tables, teeth(near, motor)).chi2.min())


def _dip(followed: list[Followed], hold: Held, motor: Motor, gain: float) -> Dip:
    """The modes that fit, weighed by how well they do where all of them were fitted."""
    first, last = max(f.first for f in followed), min(f.last for f in followed)
    left = np.zeros(len(followed))
    if len(followed) > 1:
        apart = deviations(hold, [f.fitted for f in followed], first, last)
        left = (apart**2).sum(axis=1)
    weight = np.exp(-0.5 * (left - left.min()))
    weight /= weight.sum()
    best = followed[int(np.argmin(left))].fitted
    drops = np.array([f.fitted.p[DROP] for f in followed])
    us = np.array([f.fitted.u_drop for f in followed])
    drop = float(weight @ drops)
    spread = float(np.sqrt(weight @ (us**2 + (drops - drop) ** 2)))
    tooth = motor.tooth * hold.level
    few = hold.trace.period / (FEW_SAMPLES * motor.tau_s)
    doubt = np.hypot(U_SHARE * drop, U_TEETH * (1.0 + few**2) * tooth)
    return Dip(
        drop=drop,
        u_drop=float(np.hypot(WIDEN * spread, doubt)),
        begin_s=float(best.p[BEGIN]),
        before=float(best.p[LEVEL]),
        lasting=best.mode == "lasting",
        gain=gain,
        over=0.0,
        ln_tau=(float(best.p[LN_TAU] - np.log(motor.tau_s)), float(best.u[LN_TAU])),
        slope=(float(best.p[SLOPE]), float(best.u[SLOPE])),
        misfit=best.misfit,
    )
