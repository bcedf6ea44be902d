"""Where the fit of a release begins: its surroundings, its modes, what is known of it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALL_S, FALLS_S, U_FALL_S, Trace
from tensionlog.pulls.motor import Motor
from tensionlog.pulls.motor_course import (
    BAND,
    BEGIN,
    DROP,
    FALL,
    LEVEL,
    SLOPE,
    UPPER,
)
from tensionlog.pulls.motor_exact import Fitted, Prior, Start, Stretch, chi2_of, fit_courses
from tensionlog.pulls.motor_hold import Held
from tensionlog.pulls.motor_near import Guess, Near, State, best_of

Floats = NDArray[np.float64]

BEFORE_S = 0.15
"""So much of the hold before the fall is fitted first."""

AFTER_TAUS = 2.2
"""So many time constants after it."""

SWITCHED_S = (0.0, 0.015, 0.03, 0.05, 0.08, 0.12)
"""How long before the fall a motor that is pulling may have started."""

POOR_MISFIT = 1.2
"""Reduced chi-square above which a fit is begun once more from elsewhere."""

MOST_STARTS = 3
"""Starts tried in one mode at most."""


def core(trace: Trace, at: float, motor: Motor) -> tuple[int, int]:
    """Index range of the samples around a moment that are fitted first."""
    before = max(BEFORE_S, 6.5 * trace.period)
    after = sum(trace.boxes_s) + FALLS_S[-1] + AFTER_TAUS * motor.tau_s
    first, last = np.searchsorted(trace.t, [at - before, at + after])
    return int(first), int(last)


def roughly(hold: Held, near: Near, motor: Motor) -> State:
    """The best of the tables: moment, levels and drop to begin with."""
    period = near.trace.period
    moments = near.at + np.arange(-2.5 * period, max(4.5 * period, 0.04), 0.5 * period)
    tables = motor.tables(hold.trace.boxes_s)
    middle = FALLS_S[3]
    found = [
        best_of(
            near,
            tables,
            Guess(
                fall_t=moments,
                start_t=moments + share * middle,
                fall_s=np.full(len(moments), middle),
                share=share,
                pull_s=3.0 * motor.tau_s,
            ),
        )
        for share in (0.0, 0.5, 1.0)
    ]
    best = min(found, key=lambda state: state.chi2)
    level = near.prior[0][0] + best.coefficients[0]
    return replace(best, coefficients=np.array([level, *best.coefficients[1:]]))


def fitted_in(
    hold: Held,
    motor: Motor,
    modes: Sequence[str],
    rough: State,
    stretch: Stretch,
    *,
    more: Sequence[Start] = (),
) -> tuple[list[Fitted], list[Fitted]]:
    """A release in some modes, where the motor would have met it so.

    Args:
        hold: The hold.
        motor: Its motor.
        modes: Ways in which the motor may meet the fall, as ordered in `MODES`.
        rough: The release as the tables have it.
        stretch: The samples that are fitted.
        more: Further starts to be fitted beside them.

    Returns:
        The best of each mode that is possible, and what came of the further starts.
    """
    starts = _starts(hold, motor, modes, rough, stretch)
    fits = fit_courses(stretch, [*(some[0] for some in starts), *more])
    best, further = fits[: len(modes)], fits[len(modes) :]
    again = [
        (k, start)
        for k, some in enumerate(starts)
        if best[k].misfit >= POOR_MISFIT
        for start in some[1:]
    ]
    if again:
        for (k, _), found in zip(
            again, fit_courses(stretch, [start for _, start in again]), strict=True
        ):
            best[k] = min(best[k], found, key=lambda fitted: fitted.chi2)
    return [fitted for fitted in best if _is_met(fitted)], further


def _is_met(fitted: Fitted) -> bool:
    """Whether the motor would leave such a fall as it is, if that is what was fitted."""
    gap = fitted.p[LEVEL] - fitted.p[UPPER] + 1.02 * fitted.p[BAND]
    return not (fitted.mode == "lasting" and fitted.p[DROP] > gap)


def _starts(
    hold: Held, motor: Motor, modes: Sequence[str], rough: State, stretch: Stretch
) -> list[list[Start]]:
    """The few best starts of each mode, best first."""
    rows = [starts_of(hold, motor, mode, rough) for mode in modes]
    chi2 = chi2_of(stretch, list(zip(modes, rows, strict=True)))
    parts = np.split(chi2, np.cumsum([len(some) for some in rows])[:-1])
    return [
        [
            Start(mode=mode, p=row, prior=prior_of(hold, motor, row))
            for row in _apart(some[np.argsort(part)])
        ]
        for mode, some, part in zip(modes, rows, parts, strict=True)
    ]


def tooth_alone(hold: Held, motor: Motor, rough: State, stretch: Stretch) -> Start:
    """A motor that starts by its own rule, nothing having fallen."""
    rows = starts_of(hold, motor, "lasting", rough)
    rows[:, DROP] = 0.0
    row = rows[int(np.argmin(chi2_of(stretch, [("lasting", rows)])))]
    prior = prior_of(hold, motor, row)
    prior.sds[DROP] = 1e-3 * hold.trace.noise
    return Start(mode="lasting", p=prior.means, prior=prior)


def _apart(rows: Floats) -> list[Floats]:
    """The first few starts whose levels differ, in order of `rows`."""
    chosen: list[Floats] = []
    for row in rows:
        if all(row[LEVEL] != other[LEVEL] for other in chosen):
            chosen.append(row)
        if len(chosen) == MOST_STARTS:
            break
    return chosen


def starts_of(hold: Held, motor: Motor, mode: str, rough: State) -> Floats:
    """Parameters to begin with, shape (b, 9)."""
    assert motor.switching is not None
    level, _, rise, drop = rough.coefficients
    band = motor.tooth * hold.level
    least = 3.0 * hold.trace.noise
    upper = level + max(rise, 0.02 * band)
    slope = motor.share * hold.level
    ends = [FALL_S, float(np.log(motor.tau_s)), band, motor.switching.short]
    plain = np.array([level, slope, max(drop, least), upper, rough.fall_t, *ends])
    if mode == "resting":
        return plain[None]
    if mode == "lasting":
        edges = np.repeat([upper, _upper_edge(hold, rough.fall_t)], 4)
        shares = np.tile([0.25, 0.5, 0.75, 0.95], 2)
        rows = np.tile(plain, (8, 1))
        rows[:, UPPER] = edges
        rows[:, DROP] = np.maximum(shares * (level - edges + band), least)
        return rows
    step = max(hold.trace.period, 0.006)
    wait, sooner, more = (
        a.ravel() for a in np.meshgrid(SWITCHED_S, [-2.0, -1.3, -0.6, 0.0, 0.7], [1.0, 1.25])
    )
    rows = np.tile(plain, (len(wait), 1))
    rows[:, LEVEL] = upper - band * np.exp(-wait / motor.tau_s)
    rows[:, BEGIN] += sooner * step
    rows[:, DROP] = np.maximum(more * (drop + rows[:, LEVEL] - level), least)
    return np.vstack([plain, rows])


def _upper_edge(hold: Held, at: float) -> float:
    """The band's upper edge as the hold around a moment shows it."""
    y = hold.trace.y[np.abs(hold.trace.t - at) < 1.0]
    few = min(len(y), max(1, round(0.03 / hold.trace.period)))
    return float(np.quantile(np.convolve(y, np.ones(few) / few, "valid"), 0.97))


def prior_of(hold: Held, motor: Motor, start: Floats) -> Prior:
    """What the job knows of a release, and nothing about what only this pull can say."""
    known = motor.switching
    assert known is not None
    level = abs(hold.level)
    wide = 10.0 * level
    means = start.copy()
    means[[SLOPE, FALL]] = motor.share * hold.level, FALL_S
    sds = [
        wide,
        motor.u_share * level,
        wide,
        5.0 * motor.tooth * level,
        max(2.0 * hold.trace.period, 0.015),
        U_FALL_S,
        known.u_ln_tau,
        known.u_band * level,
        known.u_short,
    ]
    return Prior(means=means, sds=np.array(sds))
