"""What a held string reads: relaxation, each later change superposed on it.

    F(t) = P − R·[G(t) − G(t₁)] − Δ·[1 − r·G(t − t₁)] − c·(t − t₁) − Σ s·[1 − r·G(t − t_s)]
    G(t) = lg(1 + t/τ),   r = R/A

P is the force just before the head lets off at t₁, the clock of the first G runs from
the top of the pull. A is what relaxation started from: for a head that locks the law
holds from the top, so A = P + R·G(t₁); a head that holds its force starts from P.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tensionlog.clamps.landmarks import Landmarks
from tensionlog.clamps.trace import Floats

ZERO, FORCE, RELAX, LOSS, CREEP, LN_TAU, CLOCK, LATE = range(8)
BACK, FADE, BACK_LATE, AGAIN, AGAIN_LATE, PAUSE = range(8, 14)
"""Places in the parameter vector; the sizes of slips follow after the last.

ZERO empty reading; FORCE P; RELAX R per decade; LOSS Δ; CREEP c; LN_TAU ln τ; CLOCK
by how much relaxation began after the highest reading; LATE by how much the loss
happened after the fall began; BACK what the second pull gave back; FADE
the relaxation of that as a multiple of r; AGAIN what its let-off took; BACK_LATE and
AGAIN_LATE by how much these happened after the rise was full and the fall began; PAUSE
the share of the creep that stands still while the head holds beside the clamp.
"""

N_FIXED = PAUSE + 1

GAUSS = ((-0.387298, 5.0 / 18.0), (0.0, 8.0 / 18.0), (0.387298, 5.0 / 18.0))
"""Three-point Gauss rule on an interval of length 1 about 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """The averaged readings that a hold test is fitted to.

    Attributes:
        t_s: Times of the force, the converter's delay taken out, rising, shape (n,).
        force: Readings, shape (n,).
        variance: Noise variance of each, zero wander left out, shape (n,).
        loaded: Whether the string is under load, shape (n,).
        alone: Whether the clamp holds alone or with the second pull, shape (n,).
        fixed: Whether the string's length is fixed, so that it relaxes, shape (n,).
        marks: Times of the test.
        locked: Whether the head locks, so that its hold shows relaxation.
        blur_s: Time over which the converter averages; 0 where that is short.
        slips_s: Times of sudden steps.
        evidence: Log evidence of the level that stands for the hold, 0 without one.
    """

    t_s: Floats
    force: Floats
    variance: Floats
    loaded: Floats
    alone: Floats
    fixed: Floats
    marks: Landmarks
    locked: bool
    blur_s: float = 0.0
    slips_s: tuple[float, ...] = ()
    evidence: float = 0.0

    @property
    def clock_s(self) -> float:
        """When relaxation began, about: at the trip, or as a bar or motor got there."""
        return self.marks.trip_s if self.locked else self.marks.top_s


def decades(t_s: Floats | float, tau_s: float) -> Floats:
    """lg(1 + t/τ), zero before t = 0.

    >>> float(decades(0.9, 0.1))
    1.0
    """
    grown: Floats = np.log10(1.0 + np.maximum(t_s, 0.0) / tau_s)
    return grown


class Relaxing(NamedTuple):
    """How the string relaxes, as a converter sees it that takes its time.

    Attributes:
        share: r, the loss per decade as a share of the force.
        tau_s: τ, the origin of the relaxation.
        blur_s: Time over which the converter averages; 0 where that is short.
    """

    share: float
    tau_s: float
    blur_s: float

    def grown(self, age_s: Floats) -> Floats:
        """Decades since age 0, averaged over the converter's time."""
        if not self.blur_s:
            return decades(age_s, self.tau_s)
        total = np.zeros_like(age_s)
        for place, weight in GAUSS:
            total += weight * decades(age_s + place * self.blur_s, self.tau_s)
        return total

    def step(self, t_s: Floats, at_s: float, late_s: float = 0.0, fade: float = 1.0) -> Floats:
        """A unit step at `at_s`: what it costs later shrinks.

        `late_s` moves the clock of the shrinking alone, so that every row keeps its side;
        `fade` is how much faster it shrinks.
        """
        shrunk = fade * self.share * self.grown(t_s - at_s - late_s)
        later: Floats = np.where(t_s >= at_s, 1.0 - shrunk, 0.0)
        return later


def relaxation_share(theta: Floats, rows: Rows) -> float:
    """r, the loss per decade as a share of what relaxation started from."""
    started = theta[FORCE]
    if rows.locked:
        held_s = rows.marks.hand_off_s - rows.clock_s - theta[CLOCK]
        started = started + theta[RELAX] * decades(held_s, np.exp(theta[LN_TAU]))
    return float(theta[RELAX] / max(started, 1e-6))


def reading(theta: Floats, rows: Rows) -> Floats:
    """The reading expected at each row, shape (n,)."""
    marks, t_s, tau_s = rows.marks, rows.t_s, float(np.exp(theta[LN_TAU]))
    relaxing = Relaxing(relaxation_share(theta, rows), tau_s, rows.blur_s)
    start_s = rows.clock_s + theta[CLOCK]
    grown = relaxing.grown(t_s - start_s) - decades(marks.hand_off_s - start_s, tau_s)
    force = theta[FORCE] - theta[RELAX] * rows.fixed * grown
    alone = theta[LOSS] * relaxing.step(t_s, marks.hand_off_s, theta[LATE])
    alone = alone + theta[CREEP] * _creeping(theta, rows)
    for size, at_s in zip(theta[N_FIXED:], rows.slips_s, strict=True):
        alone = alone + size * relaxing.step(t_s, at_s)
    force = force - rows.alone * (alone - _second_pull(theta, rows, relaxing))
    expected: Floats = theta[ZERO] + rows.loaded * force
    return expected


def _creeping(theta: Floats, rows: Rows) -> Floats:
    """For how long the clamp has crept, shape (n,)."""
    marks, again = rows.marks, rows.marks.again
    lasted: Floats = rows.t_s - marks.hand_off_s
    if again is not None:
        lasted = lasted - theta[PAUSE] * np.clip(
            rows.t_s - again.rise_s, 0.0, again.fall_s - again.rise_s
        )
    return lasted


def _second_pull(theta: Floats, rows: Rows, relaxing: Relaxing) -> Floats:
    """What the second pull gives back and its let-off takes again."""
    again, t_s = rows.marks.again, rows.t_s
    if again is None:
        return np.zeros_like(t_s)
    # Every row after the rise has it, late as the converter may be; only its clock is later.
    late_s = again.full_s - again.rise_s + theta[BACK_LATE]
    back: Floats = theta[BACK] * relaxing.step(t_s, again.rise_s, late_s, theta[FADE])
    if again.rest_s is None:
        return back
    taken = relaxing.step(t_s, again.fall_s, theta[AGAIN_LATE])
    kept: Floats = back - theta[AGAIN] * taken
    return kept
