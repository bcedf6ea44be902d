"""What a job's deepest dips say of a motor's switching: time constant, band, converter."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import CONVERTERS, MIDDLE_CONVERTER, USUAL_CONVERTER
from tensionlog.pulls.motor import Motor, Switching
from tensionlog.pulls.motor_course import BAND, BEGIN, LN_TAU, SHORT, SLOPE
from tensionlog.pulls.motor_exact import Fitted, Start, fit_course, stretch_of
from tensionlog.pulls.motor_follow import followed_out
from tensionlog.pulls.motor_hold import Held
from tensionlog.pulls.motor_near import near_to
from tensionlog.pulls.motor_starts import core, fitted_in, prior_of, roughly

Floats = NDArray[np.float64]

GOOD_MISFIT = 1.05
"""Reduced chi-square, geometric mean over the dips, up to which switching explains them: a
motor that lags as well leaves 1.1 and more, and its drops would be a tenth off."""

BAND_OFF = 1.8
"""A band that is so many times the saw-tooth of the job's holds, or less, is none."""

FEWEST = 3
"""Fewer dips teach nothing that one could not say itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallen:
    """A hold with a deep fall in it.

    Attributes:
        hold: Its settled part, as `USUAL_CONVERTER` would show it.
        period: Time between the device's samples.
        at: About where it falls.
        depth: How far.
    """

    hold: Held
    period: float
    at: float
    depth: float

    def behind(self, converter: tuple[float, ...]) -> Held:
        """The hold as another converter would have shown it."""
        extra = self.hold.trace.boxes_s[len(USUAL_CONVERTER) :]
        boxes = (*(self.period * box for box in converter), *extra)
        return replace(self.hold, trace=replace(self.hold.trace, boxes_s=boxes))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """One dip with its best course."""

    fallen: Fallen
    fitted: Fitted
    first: int
    last: int


def learn_switching(found: Sequence[Fallen], motor: Motor) -> Motor | None:
    """The motor as a job's dips agree on it; None where no switching explains them.

    Args:
        found: The deepest dips of a job.
        motor: What is known so far, its tooth above all.
    """
    tooth = motor.tooth
    known = Switching(u_ln_tau=0.5, u_band=0.25 * tooth, short=0.08, u_short=0.06)
    motor = replace(motor, converter=MIDDLE_CONVERTER, switching=known)
    told: list[_Told] = []
    for _ in range(2):
        told = [t for fallen in found if (t := _told(fallen, motor)) is not None]
        if len(told) < FEWEST:
            return None
        ln_tau, _ = _pooled(told, LN_TAU, least=0.03)
        known = replace(known, u_ln_tau=0.15)
        motor = replace(motor, tau_s=float(np.exp(ln_tau)), switching=known)
    behind = {c: [_behind(t, motor, c) for t in told] for c in CONVERTERS}
    converter = min(behind, key=lambda c: _unexplained(behind[c]))
    motor, told = replace(motor, converter=converter), behind[converter]
    wide = [_followed(t, motor) for t in told]
    if _unexplained(wide) > np.log(GOOD_MISFIT):
        return None
    agreed = _agreed(wide, motor)
    return agreed if 1.0 / BAND_OFF < agreed.tooth / tooth < BAND_OFF else None


def _told(fallen: Fallen, motor: Motor) -> _Told | None:
    hold = fallen.behind(motor.converter)
    near = near_to(hold, motor, fallen.at)
    if near is None:
        return None
    rough = roughly(hold, near, motor)
    first, last = core(hold.trace, rough.fall_t, motor)
    if last - first < 10:
        return None
    stretch = stretch_of(hold.trace.kept(slice(first, last)), hold.top_t)
    fits, _ = fitted_in(hold, motor, ("resting", "pulling"), rough, stretch)
    fitted = min(fits, key=lambda f: f.chi2)
    return _Told(fallen=fallen, fitted=fitted, first=first, last=last)


def _behind(told: _Told, motor: Motor, converter: tuple[float, ...]) -> _Told:
    """The same dip behind another converter, whose delay moves its beginning."""
    if converter == motor.converter:
        return told
    hold = told.fallen.behind(converter)
    later = 0.5 * told.fallen.period * (sum(motor.converter) - sum(converter))
    start = told.fitted.p.copy()
    start[BEGIN] += later
    stretch = stretch_of(hold.trace.kept(slice(told.first, told.last)), hold.top_t)
    prior = prior_of(hold, motor, start)
    fitted = fit_course(stretch, Start(mode=told.fitted.mode, p=start, prior=prior), rounds=8)
    return replace(told, fitted=fitted)


def _followed(told: _Told, motor: Motor) -> _Told:
    hold = told.fallen.behind(motor.converter)
    wide = followed_out(hold, motor, told.fitted, told.first, told.last)
    return replace(told, fitted=wide.fitted, first=wide.first, last=wide.last)


def _unexplained(told: Sequence[_Told]) -> float:
    """Mean logarithm of the reduced chi-squares, the worst quarter left out."""
    logs = np.sort(np.log([max(t.fitted.misfit, 0.2) for t in told]))
    return float(logs[: max(FEWEST, -(-3 * len(logs) // 4))].mean())


def _pooled(
    told: Sequence[_Told], column: int, *, by_level: bool = False, least: float = 0.0
) -> tuple[float, float]:
    """What the dips say together of one parameter, and its standard uncertainty."""
    level = np.array([t.fallen.hold.level if by_level else 1.0 for t in told])
    values = np.array([t.fitted.p[column] for t in told]) / level
    us = np.array([t.fitted.u[column] for t in told]) / level
    middle = float(np.median(values))
    scatter = 1.4826 * float(np.median(np.abs(values - middle)))
    weight = 1.0 / (us**2 + 0.3 * scatter**2 + least**2 + 1e-6 * middle**2)
    mean = float((weight * values).sum() / weight.sum())
    return mean, float(1.0 / np.sqrt(weight.sum()))


def _agreed(told: Sequence[_Told], motor: Motor) -> Motor:
    ln_tau, u_ln_tau = _pooled(told, LN_TAU)
    band, u_band = _pooled(told, BAND, by_level=True)
    short, u_short = _pooled(told, SHORT)
    share, u_share = _pooled(told, SLOPE, by_level=True)
    return replace(
        motor,
        tau_s=float(np.exp(ln_tau)),
        u_ln_tau=max(u_ln_tau, 0.015),
        tooth=band,
        share=share,
        u_share=max(u_share, 0.08 * abs(share)),
        switching=Switching(
            u_ln_tau=max(u_ln_tau, 0.015),
            u_band=max(u_band, 0.02 * band),
            short=short,
            u_short=max(u_short, 0.01),
        ),
    )
