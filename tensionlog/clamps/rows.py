"""From a hold test's readings to the rows and priors of its fit."""

from typing import NamedTuple

import numpy as np

from tensionlog.clamps import law
from tensionlog.clamps.before import level_before
from tensionlog.clamps.fit import FREE, Prior
from tensionlog.clamps.landmarks import Landmarks
from tensionlog.clamps.law import Rows
from tensionlog.clamps.trace import Bins, Floats, Readings, averaged
from tensionlog.errors import ClampError

PUSHED_S = 0.2
"""As the clamp is shut the reading is pushed by up to 0.5 N: this long is left out."""

SETTLED_S = 0.3
"""From the top: the crank's spring-back and the converter's answer are over."""

GUARD_S, SHUT_GUARD_S = 0.05, 0.15

SLOW_S = 0.15
"""Within a quicker answer of the converter the law is as good as straight."""
IDLE_S = 6.0
LOCKOUT, MOTOR = "lockout", "constant-pull"

LEVEL_S, EVEN_S = 5.0, 0.08

TAU_S, LN_TAU_SD = 0.19, 0.33
"""Origin of the relaxation, 0.1–0.3 s (bench experience)."""

LOCKING_SHARES = (0.008, 0.15)
"""Losses per decade that a locked hold may show."""


def is_locked(readings: Readings, marks: Landmarks) -> bool:
    """Whether the hold before the hand-off falls as a locked string does."""
    bins = _hold(readings, marks)
    if bins.t_s.size < 6:
        return False
    grown = law.decades(bins.t_s - marks.trip_s, TAU_S)
    slope, level = np.polyfit(grown, bins.force, 1)
    left = bins.force - slope * grown - level
    falls = LOCKING_SHARES[0] < -slope / level < LOCKING_SHARES[1]
    return bool(falls and np.var(left) < 0.1 * np.var(bins.force))


def hold_rows(
    readings: Readings, marks: Landmarks, *, head: str | None, shut_s: float | None = None
) -> Rows:
    """Average the readings over the stretches that the law describes.

    Args:
        readings: The whole test.
        marks: Its times.
        head: Kind of the head; only a lockout's hold follows the law.
        shut_s: When the clamp was shut under a head that does not lock: from then on the
            string behind it has a fixed length. None: at the hand-off.

    Raises:
        ClampError: There is no hold before the hand-off, or too little after it.
    """
    idle = averaged(readings, max(readings.t_s[0], marks.pull_s - IDLE_S), marks.pull_s - 0.2)
    before = _before(readings, marks, head, shut_s)
    alone = _alone(readings, marks)
    bins = [idle, before.bins, *alone]
    sizes = [part.t_s.size for part in bins]
    noise = readings.noise**2 / np.concatenate([part.number for part in bins])
    noise[sizes[0] : sizes[0] + sizes[1]] = before.variance
    after = np.repeat(np.arange(len(bins)) >= 2, sizes).astype(np.float64)
    fixed = np.concatenate([np.zeros(sizes[0]), before.fixed, np.ones(sum(sizes[2:]))])
    return Rows(
        # What the converter says is what the force was half its answer ago.
        t_s=np.concatenate([p.t_s for p in bins]) - 0.5 * readings.response_s,
        force=np.concatenate([p.force for p in bins]),
        variance=noise + 1e-8,
        loaded=np.repeat(np.arange(len(bins)) >= 1, sizes).astype(np.float64),
        alone=after,
        fixed=fixed,
        marks=marks,
        locked=head == LOCKOUT,
        blur_s=readings.response_s if readings.response_s > SLOW_S else 0.0,
        evidence=before.evidence,
    )


class Before(NamedTuple):
    """What is known of the force before the hand-off.

    Attributes:
        bins: Averages, or one level first where the head does not lock.
        variance: Of each, shape (n,).
        fixed: Whether the string's length was fixed, shape (n,).
        evidence: Log evidence of the level, 0 without one.
    """

    bins: Bins
    variance: Floats
    fixed: Floats
    evidence: float


def _hold(readings: Readings, marks: Landmarks) -> Bins:
    start_s = marks.trip_s + SETTLED_S + readings.response_s
    return averaged(readings, start_s, marks.hand_off_s - PUSHED_S)


def _before(
    readings: Readings, marks: Landmarks, head: str | None, shut_s: float | None
) -> Before:
    """The hold's averages; one level where the head does not lock, until the clamp is shut."""
    hold = _hold(readings, marks)
    if hold.t_s.size < 3:
        raise ClampError(
            f"the head held for only {marks.hand_off_s - marks.top_s:.1f} s before the "
            "hand-off. Hold for three seconds, then let off."
        )
    if head == LOCKOUT:
        return Before(hold, readings.noise**2 / hold.number, np.ones(hold.t_s.size), 0.0)
    at_s = marks.hand_off_s if shut_s is None else shut_s
    start_s = max(float(hold.t_s[0]), marks.hand_off_s - LEVEL_S)
    last = averaged(readings, start_s, at_s - PUSHED_S, widest_s=EVEN_S)
    bounces = head != MOTOR
    level = level_before(bins=last, at_s=at_s, noise=readings.noise, bounces=bounces)
    whole = (marks.hand_off_s - start_s) / max(EVEN_S, readings.step_s)
    if shut_s is None:
        one = Bins(last.t_s[-1:], np.array([level.force]), np.ones(1))
        evidence = level.evidence * whole / last.t_s.size
        return Before(one, np.array([level.u**2]), np.zeros(1), evidence)
    shut = averaged(
        readings,
        shut_s + SHUT_GUARD_S + readings.response_s,
        marks.hand_off_s - PUSHED_S,
        widest_s=EVEN_S,
    )
    return Before(
        Bins(
            np.append(shut_s + 0.5 * readings.response_s, shut.t_s),
            np.append(level.force, shut.force),
            np.append(1.0, shut.number),
        ),
        np.append(level.u**2, readings.noise**2 / shut.number),
        np.ones(1 + shut.t_s.size),
        # What is left out counts as what is read: all ways explain the same stretch.
        level.evidence * (whole - shut.t_s.size) / last.t_s.size,
    )


def _alone(readings: Readings, marks: Landmarks) -> list[Bins]:
    """Averages of each stretch after the hand-off, edges left out."""
    start_s, again = marks.alone_s + GUARD_S, marks.again
    if again is None:
        stretches = [(start_s, marks.last_s)]
    else:
        stretches = [
            (start_s, again.rise_s - GUARD_S),
            (again.full_s + GUARD_S + 0.05, again.fall_s - GUARD_S),
        ]
        if again.rest_s is not None:
            stretches.append((again.rest_s + GUARD_S, marks.last_s))
    bins = [averaged(readings, a, b) for a, b in stretches]
    if sum(b.t_s.size for b in bins) < 20 or bins[0].t_s.size < 5:
        raise ClampError(
            f"the test ends {marks.last_s - marks.hand_off_s:.1f} s after the hand-off. "
            "Let the clamp hold alone for ten seconds or more."
        )
    return bins


def hold_prior(rows: Rows, readings: Readings, *, relaxation: tuple[float, float]) -> Prior:
    """Weak priors: the usual strings, the usual delays, everything else free."""
    marks = rows.marks
    before = float(np.mean(rows.force[(rows.loaded > 0) & (rows.alone == 0)]))
    empty = rows.force[rows.loaded == 0]
    zero = float(np.mean(empty)) if empty.size else 0.0
    pulled = before - zero
    mean, sd = np.zeros(law.N_FIXED), np.full(law.N_FIXED, FREE)
    mean[law.ZERO], mean[law.FORCE] = zero, pulled
    # Without an empty reading only the calibration says where zero is, and a mounting
    # moves it by a newton or more.
    sd[law.ZERO] = FREE if empty.size else 2.0
    mean[law.RELAX], sd[law.RELAX] = relaxation[0] * pulled, relaxation[1] * pulled
    mean[law.LN_TAU], sd[law.LN_TAU] = np.log(TAU_S), LN_TAU_SD
    # A bar still swings about its level at the top, so its clock is not so certain.
    sd[law.CLOCK] = (0.03 if rows.locked else 0.12) + 0.25 * readings.response_s
    lasted_s = max(marks.alone_s - marks.hand_off_s - 0.5 * readings.response_s, 0.03)
    mean[law.LATE], sd[law.LATE] = 0.2 * lasted_s, 0.5 * lasted_s
    mean[law.FADE], sd[law.FADE] = 1.0, 0.5
    again = marks.again
    rose_s = 0.1 if again is None else again.full_s - again.rise_s
    mean[law.BACK_LATE], sd[law.BACK_LATE] = -0.15 * rose_s, 0.2 * rose_s + 0.02
    mean[law.AGAIN_LATE], sd[law.AGAIN_LATE] = 0.03, 0.06
    # The head takes the load off the jaws, so most of the creep should stand still.
    mean[law.PAUSE], sd[law.PAUSE] = 0.7, 0.5
    return Prior(mean, sd)
