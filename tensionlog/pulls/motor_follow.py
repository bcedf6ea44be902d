"""How far a fitted course holds: outward until the motor switches once more."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.motor import Motor
from tensionlog.pulls.motor_course import LN_TAU, courses, shown
from tensionlog.pulls.motor_exact import Fitted, Start, fit_course, stretch_of
from tensionlog.pulls.motor_hold import Held
from tensionlog.pulls.motor_starts import prior_of

Floats = NDArray[np.float64]

REACH_S = 0.35
"""By how much a fit is followed outward at a time."""

OUT_OF_LINE = 4.0
"""Deviations of a short mean at which the motor has switched."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A fitted course and the stretch of the hold that it was fitted to."""

    fitted: Fitted
    first: int
    last: int


def followed_out(
    hold: Held, motor: Motor, fitted: Fitted, first: int, last: int, *, times: int = 2
) -> Followed:
    """Fit again over as much of the hold as the course explains."""
    for _ in range(times):
        wider = _reached(hold, fitted, first, last)
        if wider == (first, last):
            break
        first, last = wider
        stretch = stretch_of(hold.trace.kept(slice(first, last)), hold.top_t)
        prior = prior_of(hold, motor, fitted.p)
        prior.means[LN_TAU:] = [np.log(motor.tau_s), *_band(hold, motor)]
        start = Start(mode=fitted.mode, p=fitted.p, prior=prior)
        fitted = fit_course(stretch, start, rounds=8)
    return Followed(fitted=fitted, first=first, last=last)


def _band(hold: Held, motor: Motor) -> tuple[float, float]:
    """Height of the band here, and by which share of it the motor stops short."""
    assert motor.switching is not None
    return motor.tooth * hold.level, motor.switching.short


def _reached(hold: Held, fitted: Fitted, first: int, last: int) -> tuple[int, int]:
    """How far outward the samples follow the course, no farther than `REACH_S`."""
    trace = hold.trace
    few = max(2, round(0.025 / trace.period))
    settle = few + int(np.ceil(sum(trace.boxes_s) / trace.period))
    low, high = np.searchsorted(trace.t, trace.t[[first, last - 1]] + [-REACH_S, REACH_S])
    off = deviations(hold, [fitted], int(low), int(high))[0]
    out = np.abs(np.convolve(off, np.ones(few) / np.sqrt(few), "same")) > OUT_OF_LINE
    before = np.flatnonzero(out[: first - low])
    after = np.flatnonzero(out[last - low :])
    begin = min(first, int(low + before[-1]) + 1 + settle) if len(before) else int(low)
    end = max(last, last + int(after[0]) - few) if len(after) else int(high)
    return begin, end


def deviations(hold: Held, fitted: Sequence[Fitted], first: int, last: int) -> Floats:
    """Samples less each course, in deviations of the noise, shape (f, last − first)."""
    stretch = stretch_of(hold.trace.kept(slice(first, last)), hold.top_t)
    model = shown(stretch.grid, courses(stretch.grid, [(f.mode, f.p[None]) for f in fitted]))
    result: Floats = (stretch.trace.y - model) / stretch.trace.noise
    return result
