"""Steps that only stand out once everything else of a hold test is explained.

A step of a third of a newton late in a test looks like creep until the law is laid
through it; then it is the one place where the zero would have had to jump.
"""

from dataclasses import replace

import numpy as np

from tensionlog.clamps import law
from tensionlog.clamps.fit import FREE, Fit, Prior, fit_rows, slopes_of, without
from tensionlog.clamps.law import Rows
from tensionlog.clamps.noise import whitening
from tensionlog.clamps.trace import WIDEST_S, Indices, Readings

LEAST_N = 0.15
"""Steps from this size on are taken out, so that they do not pass for creep."""

CLEAR_S = 0.3
"""This far from what the head does no step is looked for."""

EDGE, SUDDEN_S = 3, 0.35


def with_missed(
    fit: Fit, prior: Prior, readings: Readings, *, most: int, certain: float
) -> Fit:
    """The fit with the steps that only stand out once everything else is explained."""
    while len(fit.rows.slips_s) < most:
        near_s = _missed(fit, prior, certain)
        if near_s is None:
            break
        at_s = _located(readings, near_s + 0.5 * readings.response_s)
        more = fit_rows(with_step(fit.rows, at_s, readings.response_s), prior, (fit.wander,))
        if abs(more.theta[-1]) < max(LEAST_N, certain * more.u(len(more.theta) - 1)):
            break
        fit = more
    return fit


def _missed(fit: Fit, prior: Prior, certain: float) -> float | None:
    """Where one more step explains most, if it explains enough; else None."""
    rows, n_free = fit.rows, len(fit.theta)
    white = whitening(t_s=rows.t_s, variance=rows.variance, wander=fit.wander)
    places = _between(rows)
    if not places.size:
        return None
    at_s = 0.5 * (rows.t_s[places - 1] + rows.t_s[places])
    steps = -((rows.t_s[:, None] >= at_s[None, :]) * rows.alone[:, None]).astype(np.float64)
    slopes = slopes_of(lambda theta: law.reading(theta, rows), fit.theta)
    left = rows.force - law.reading(fit.theta, rows)
    whole = white(np.column_stack([slopes, steps, left]))
    slope, step, miss = whole[:, :n_free], whole[:, n_free:-1], whole[:, -1]
    sd = np.append(prior.sd, np.full(n_free - prior.sd.size, FREE))
    normal = slope.T @ slope + np.diag(sd**-2.0)
    shared = np.linalg.solve(normal, slope.T @ np.column_stack([step, miss]))
    power = np.sum(step**2, axis=0) - np.sum((slope.T @ step) * shared[:, :-1], axis=0)
    pull = step.T @ (miss - slope @ shared[:, -1])
    gain = np.where(power > 1.0, 0.5 * pull**2 / np.maximum(power, 1.0), 0.0)
    best = int(np.argmax(gain))
    great = abs(pull[best]) >= LEAST_N * power[best]
    return float(at_s[best]) if gain[best] > 0.5 * certain**2 and great else None


def _between(rows: Rows) -> Indices:
    """Rows before which a step may stand: two on either side, clear of every known event."""
    marks, clear = rows.marks, np.ones(rows.t_s.size, dtype=bool)
    events = [marks.hand_off_s, *rows.slips_s]
    if marks.again is not None:
        again = marks.again
        events += [again.rise_s, again.full_s, again.fall_s, again.rest_s or again.fall_s]
    for at_s in events:
        clear &= np.abs(rows.t_s - at_s) > CLEAR_S
    alone = (rows.alone > 0) & clear
    alone[:2] = alone[-2:] = False
    return np.flatnonzero(alone & np.roll(alone, 1) & np.roll(alone, -1))


def _located(readings: Readings, near_s: float) -> float:
    """When the step near `near_s` is seen in the readings themselves."""
    window = np.abs(readings.t_s - near_s) <= SUDDEN_S + 2.0 * WIDEST_S
    t_s, force = readings.t_s[window], readings.force[window]
    n = max(EDGE, round(0.5 * SUDDEN_S / readings.step_s))
    if force.size < 2 * n + 1:
        return near_s
    means = np.convolve(force, np.full(n, 1.0 / n), mode="valid")
    places = np.arange(n, force.size - n + 1)
    change = np.abs(means[places - n] - means[places])
    cut = int(places[np.argmax(change)])
    # The converter has half of it half its answer after it happened.
    return float(t_s[cut]) - 0.5 * readings.step_s - 0.5 * readings.response_s


def with_step(rows: Rows, at_s: float, response_s: float) -> Rows:
    """The rows with one more step; those within the converter's answer to it left out."""
    width = 0.5 * (float(np.median(np.diff(rows.t_s))) + response_s)
    passing = np.abs(rows.t_s - at_s) < width
    return replace(without(rows, passing), slips_s=(*rows.slips_s, at_s))
