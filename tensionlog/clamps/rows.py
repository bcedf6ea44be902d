"""From a hold test's readings to the rows and priors of its fit."""

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

GUARD_S = 0.05

SLOW_S = 0.15
"""Within a quicker answer of the converter the law is as good as straight."""
IDLE_S = 6.0
LOCKOUT, MOTOR = "lockout", "constant-pull"

LEVEL_S, EVEN_S = 4.0, 0.08

TAU_S, LN_TAU_SD = 0.18, 0.45
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


def hold_rows(readings: Readings, marks: Landmarks, *, head: str | None) -> Rows:
    """Average the readings over the stretches that the law describes.

    Args:
        readings: The whole test.
        marks: Its times.
        head: Kind of the head; only a lockout's hold follows the law.

    Raises:
        ClampError: There is no hold before the hand-off, or too little after it.
    """
    idle = averaged(readings, max(readings.t_s[0], marks.pull_s - IDLE_S), marks.pull_s - 0.2)
    hold, variance = _before(readings, marks, head)
    alone = _alone(readings, marks)
    parts = [idle, hold, *alone]
    counts = np.concatenate([idle.number, np.ones(hold.t_s.size), *[a.number for a in alone]])
    noise = readings.noise**2 / counts
    noise[idle.t_s.size : idle.t_s.size + hold.t_s.size] = variance
    after = np.concatenate([np.full(p.t_s.size, i >= 2.0) for i, p in enumerate(parts)])
    return Rows(
        # What the converter says is what the force was half its answer ago.
        t_s=np.concatenate([p.t_s for p in parts]) - 0.5 * readings.response_s,
        force=np.concatenate([p.force for p in parts]),
        variance=noise + 1e-8,
        loaded=np.concatenate(
            [np.full(p.t_s.size, float(i >= 1)) for i, p in enumerate(parts)]
        ),
        alone=after.astype(np.float64),
        marks=marks,
        locked=head == LOCKOUT,
        blur_s=readings.response_s if readings.response_s > SLOW_S else 0.0,
    )


def _hold(readings: Readings, marks: Landmarks) -> Bins:
    start_s = marks.trip_s + SETTLED_S + readings.response_s
    return averaged(readings, start_s, marks.hand_off_s - PUSHED_S)


def _before(readings: Readings, marks: Landmarks, head: str | None) -> tuple[Bins, Floats]:
    """The hold's averages with their variance; one level where the head does not lock."""
    hold = _hold(readings, marks)
    if hold.t_s.size < 3:
        raise ClampError(
            f"the head held for only {marks.hand_off_s - marks.top_s:.1f} s before the "
            "hand-off. Hold for three seconds, then let off."
        )
    if head == LOCKOUT:
        return hold, readings.noise**2 / hold.number
    start_s = max(float(hold.t_s[0]), marks.hand_off_s - LEVEL_S)
    last = averaged(readings, start_s, marks.hand_off_s - PUSHED_S, widest_s=EVEN_S)
    bounces = head != MOTOR
    level = level_before(
        bins=last, at_s=marks.hand_off_s, noise=readings.noise, bounces=bounces
    )
    one = Bins(last.t_s[-1:], np.array([level.force]), np.ones(1))
    return one, np.array([level.u**2])


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
    return Prior(mean, sd)
