"""What a job's holds say about the motor: time constant, lag, converter, saw-tooth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import (
    CLEARLY_BETTER,
    CONVERTERS,
    MIDDLE_CONVERTER,
)
from tensionlog.pulls.motor import LOWEST_RATE_HZ, Motor
from tensionlog.pulls.motor_dip import Dip, refined
from tensionlog.pulls.motor_hold import Held, filtered, hold_of, settled_part
from tensionlog.pulls.motor_near import Near, best_made_good, near_to, solve, teeth
from tensionlog.pulls.motor_switching import Fallen, learn_switching
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

MOST_DIPS = 8
"""Dips that a motor is learned from, the deepest of the job."""

REACTIONS_S = (0.02, 0.03)
"""Lags of sensor and motor that are tried after none at all."""

TAUS_S = tuple(0.06 * 1.25**k for k in range(9))
"""Time constants tried on teeth: 0.07–0.33 s with a margin."""

MOST_TEETH = 8
"""Teeth that a motor is learned from where there are no dips, spread over the job."""

TOOTH_SCORE = 10.0
"""A motor start is clear where its rise comes to so many deviations."""


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
        return _fromteeth(usable, motor)
    switching = learn_switching(found, motor)
    if switching is not None:
        return switching
    best = middle = _tried(found, replace(motor, converter=MIDDLE_CONVERTER))
    for converter in CONVERTERS:
        if converter != MIDDLE_CONVERTER:
            tried = _tried(found, replace(best.motor, converter=converter, u_ln_tau=0.3))
            best = min(best, tried, key=lambda t: t.unexplained)
    if middle.unexplained < best.unexplained + CLEARLY_BETTER:
        best = middle
    for reaction_s in REACTIONS_S:
        tried = _tried(found, replace(best.motor, reaction_s=reaction_s, u_ln_tau=0.3))
        # A lag and a longer time constant look alike: a wrong lag costs a tenth of the drop.
        if tried.unexplained > best.unexplained - CLEARLY_BETTER:
            break
        best = tried
    return best.motor


def _fromteeth(shapes: Sequence[Shape], motor: Motor) -> Motor:
    """The motor as its own saw-tooth shows it, where a job has hardly a dip."""
    nears = [n for s in shapes if (n := _tooth_of(hold_of(s, motor), motor)) is not None]
    nears = nears[:: max(1, len(nears) // MOST_TEETH)][:MOST_TEETH]
    if len(nears) < 3:
        return motor

    def unexplained(tried: Motor) -> float:
        least = [
            solve(n, tried.tables(n.trace.boxes_s), teeth(n, tried)).chi2.min() / len(n.trace.t)
            for n in nears
        ]
        return float(np.mean(np.log(np.maximum(least, 0.3))))

    best = min((replace(motor, tau_s=tau_s) for tau_s in TAUS_S), key=unexplained)
    return replace(best, u_ln_tau=0.15)


def _tooth_of(hold: Held, motor: Motor) -> Near | None:
    """The surroundings of the clearest motor start of a hold."""
    trace = hold.trace
    if len(trace.t) < 24:
        return None
    t = np.arange(trace.t[0], trace.t[-1], trace.period)
    y = np.interp(t, trace.t, trace.y)
    pulled = motor.tables(trace.boxes_s).pulled
    score = -filtered(y, trace, [pulled], [np.inf], 0.25)
    k = int(np.argmax(score))
    if score[k] < TOOTH_SCORE:
        return None
    return near_to(hold, replace(motor, tau_s=0.15), float(t[k]))


def _deepest(shape: Shape, motor: Motor) -> Fallen | None:
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
    return Fallen(hold=hold, period=shape.period, at=at, depth=float(fall[k]))


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


def _tried(found: Sequence[Fallen], motor: Motor) -> _Tried:
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
        tau_s = float(np.clip(motor.tau_s * np.exp(step), TAUS_S[0], TAUS_S[-1]))
        motor = replace(motor, tau_s=tau_s, u_ln_tau=0.3)
        if abs(step) < 0.03:
            break
    return _Tried(motor=replace(motor, u_ln_tau=float(np.clip(scatter, 0.02, 0.2))), dips=dips)


def _dip_alone(hold: Held, motor: Motor, at: float) -> Dip | None:
    """A dip that is taken for a release that was made good, nothing else considered."""
    near = near_to(hold, motor, at)
    if near is None:
        return None
    state = best_made_good(near, motor.tables(near.trace.boxes_s), motor)
    return refined(near, motor, state, 0.0)
