"""Stick-slip: sudden steps while the clamp holds alone.

Each stretch is laid out as a smooth curve and steps. The step that explains most is
added, everything is solved again, and so on; then each step may move once more to where
it explains most beside the others. A step counts if it is sure, sudden, and confirmed by
the joint fit. Steps up are found too, so that a knock is not read as a slip, but never
reported.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from tensionlog.clamps import law
from tensionlog.clamps.fit import FREE, Fit, Prior, fit_rows, slopes_of, without
from tensionlog.clamps.law import Rows
from tensionlog.clamps.noise import whitening
from tensionlog.clamps.trace import (
    RESPONSE_SAMPLES,
    WIDEST_S,
    Bools,
    Floats,
    Indices,
    Readings,
)

MOST = 12
CERTAIN = 7.0
"""A step must stand this many standard errors above nothing: thousands of places are
searched, and a curve that the layout cannot follow must not pass for a step."""

SMALLEST_N = 0.3
"""Smaller ones drown in what the layout cannot follow."""

LEAST_N = 0.15
"""Steps from this size on are taken out, so that they do not pass for creep."""

CLEAR_S = 0.3
"""This far from what the head does no step is looked for."""

KNOCK_S = 1.0
"""A step down that a step up makes good within this time is a knock on the bench."""

EDGE = 3
"""Readings that must stand on either side of a step."""

ONE_WANDER = (0.006,)
"""Enough to tell which steps stand."""

FINE_S = 0.0125
"""A step's time is not asked for more finely, and fast converters are thinned to this."""

SUDDEN_S = 0.35
CURVES_S = (0.05, 0.2, 0.8)
SHORT_S = 3.0


class Slip(NamedTuple):
    """One sudden step.

    Attributes:
        at_s: When it began, seconds on the readings' clock.
        size: Force lost.
        u: Standard uncertainty of the size.
    """

    at_s: float
    size: float
    u: float


def fit_with_slips(*, rows: Rows, prior: Prior, readings: Readings) -> Fit:
    """Fit the law, roughly, together with every step that the trace is sure of."""
    steps = [s for stretch in _stretches(rows, readings) for s in steps_in(stretch)]
    whole = rows
    for step in steps:
        whole = with_step(whole, step.at_s, readings.response_s)
    fit = fit_rows(whole, prior, ONE_WANDER)
    sure = [s.at_s for s in _steps_of(fit) if abs(s.size) >= max(SMALLEST_N, CERTAIN * s.u)]
    if len(sure) < len(steps):
        fit = fit_rows(replace(whole, slips_s=tuple(sure)), prior, ONE_WANDER)
    return _with_missed(fit, prior, readings)


def _with_missed(fit: Fit, prior: Prior, readings: Readings) -> Fit:
    """The fit with the steps that only stand out once everything else is explained."""
    while len(fit.rows.slips_s) < MOST:
        near_s = _missed(fit, prior)
        if near_s is None:
            break
        at_s = _located(readings, near_s + 0.5 * readings.response_s)
        more = fit_rows(with_step(fit.rows, at_s, readings.response_s), prior, ONE_WANDER)
        if abs(more.theta[-1]) < max(LEAST_N, CERTAIN * more.u(len(more.theta) - 1)):
            break
        fit = more
    return fit


def _missed(fit: Fit, prior: Prior) -> float | None:
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
    return float(at_s[best]) if gain[best] > 0.5 * CERTAIN**2 and great else None


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


def slips_found(fit: Fit) -> tuple[Slip, ...]:
    """The losses among the steps of a fit, knocks left out, in order of time."""
    steps = sorted(_steps_of(fit))
    return tuple(s for s in steps if s.size >= SMALLEST_N and not _is_knock(s, steps))


def _steps_of(fit: Fit) -> list[Slip]:
    return [
        Slip(at_s, float(fit.theta[place]), fit.u(place))
        for place, at_s in enumerate(fit.rows.slips_s, start=law.N_FIXED)
    ]


def _is_knock(slip: Slip, steps: list[Slip]) -> bool:
    """Whether a step up nearby makes the loss good again."""
    return any(
        abs(other.at_s - slip.at_s) <= KNOCK_S and -other.size > 0.6 * slip.size
        for other in steps
    )


def _stretches(rows: Rows, readings: Readings) -> list[Readings]:
    """The readings of each stretch in which nothing but the clamp moves."""
    again = rows.marks.again
    edges = [] if again is None else [again.rise_s, again.fall_s]
    times = rows.t_s[rows.alone > 0] + 0.5 * readings.response_s
    stretches = []
    for part in np.split(times, np.searchsorted(times, edges)):
        if not part.size:
            continue
        inside = (readings.t_s >= part[0]) & (readings.t_s <= part[-1])
        within = readings._replace(t_s=readings.t_s[inside], force=readings.force[inside])
        if len(within.t_s):
            stretches.append(within.thinned(FINE_S))
    return stretches


def steps_in(readings: Readings) -> list[Slip]:
    """Every sure and sudden step of one stretch, up or down."""
    cuts: list[int] = []
    while len(cuts) < MOST:
        cut = _next_cut(readings, cuts)
        if cut is None:
            break
        cuts.append(cut)
    for place in range(len(cuts)):
        others = cuts[:place] + cuts[place + 1 :]
        cuts[place] = _next_cut(readings, others) or cuts[place]
    cuts = [cut for place, cut in enumerate(cuts) if cut not in cuts[:place]]
    return [step for cut in cuts if (step := _sudden(readings, cuts, cut)) is not None]


def _curves(t_s: Floats) -> Floats:
    """Smooth columns that a relaxing, creeping string without steps can be laid out in."""
    age_s = t_s - t_s[0] + 0.1
    short = age_s[-1] < SHORT_S
    grown = [np.log10(1.0 + age_s / tau_s) for tau_s in (CURVES_S[1:2] if short else CURVES_S)]
    return np.column_stack([np.ones_like(age_s), age_s, *grown])


def _kept(n: int, cuts: list[int]) -> Bools:
    """Which readings stand clear of the converter's answer to the steps."""
    places = np.arange(n)
    clear = np.ones(n, dtype=bool)
    for cut in cuts:
        clear &= (places < cut - 1) | (places >= cut + RESPONSE_SAMPLES)
    return clear


def _layout(readings: Readings, cuts: list[int]) -> tuple[Floats, Indices]:
    """An orthonormal base of curve and steps over the kept readings, and their places."""
    kept = np.flatnonzero(_kept(readings.t_s.size, cuts))
    steps = [(kept >= cut).astype(np.float64) for cut in cuts]
    columns = np.column_stack([_curves(readings.t_s)[kept], *steps])
    base, size = np.linalg.qr(columns)[0], columns.shape[1]
    return base[:, :size], kept


def _next_cut(readings: Readings, cuts: list[int]) -> int | None:
    """Place of the step that explains most beside those known, None if none is sure."""
    base, kept = _layout(readings, cuts)
    if kept.size < base.shape[1] + 2 * EDGE:
        return None
    force = readings.force[kept]
    left = force - base @ (base.T @ force)
    # Sums from each place to the end stand for a step there, without a matrix of steps.
    shared = np.cumsum(base[::-1], axis=0)[::-1]
    power = np.arange(kept.size, 0, -1) - np.sum(shared**2, axis=1)
    explained = np.cumsum(left[::-1])[::-1]
    inner = _inner(kept, cuts) & (power > 0.3)
    if not inner.any():
        return None
    score = np.where(inner, np.abs(explained) / np.sqrt(np.maximum(power, 0.3)), 0.0)
    best = int(np.argmax(score))
    size = -float(explained[best]) / float(power[best])
    if score[best] < CERTAIN * readings.noise or abs(size) < SMALLEST_N:
        return None
    return _begun(readings, int(kept[best]), size)


def _inner(kept: Indices, cuts: list[int]) -> Bools:
    """Places with enough readings on either side, clear of the known steps."""
    inner = np.zeros(kept.size, dtype=bool)
    inner[EDGE + 1 : -EDGE - RESPONSE_SAMPLES] = True
    for cut in cuts:
        inner &= np.abs(kept - cut) > RESPONSE_SAMPLES + EDGE + 1
    return inner


def _sudden(readings: Readings, cuts: list[int], cut: int) -> Slip | None:
    """The step at `cut`, if the readings beside it do take it at once; else None."""
    kept = np.flatnonzero(_kept(readings.t_s.size, cuts))
    others = _layout_without(readings, cuts, cut)
    n_near = max(EDGE, round(SUDDEN_S / readings.step_s))
    before, after = others[kept < cut][-n_near:], others[kept >= cut][:n_near]
    size = float(np.mean(before) - np.mean(after))
    u = readings.noise * float(np.sqrt(1.0 / before.size + 1.0 / after.size))
    if abs(size) < max(0.6 * SMALLEST_N, 3.0 * u):
        return None
    return Slip(float(readings.t_s[cut]) - 0.5 * readings.step_s, size, u)


def _layout_without(readings: Readings, cuts: list[int], cut: int) -> Floats:
    """The kept readings less everything but the one step."""
    kept = np.flatnonzero(_kept(readings.t_s.size, cuts))
    steps = [(kept >= c).astype(np.float64) for c in cuts]
    columns = np.column_stack([*steps, _curves(readings.t_s)[kept]])
    sizes = np.linalg.lstsq(columns, readings.force[kept], rcond=None)[0]
    sizes[cuts.index(cut)] = 0.0
    left: Floats = readings.force[kept] - columns @ sizes
    return left


def _begun(readings: Readings, cut: int, size: float) -> int:
    """First reading that knows of the step, close to `cut` or just before it."""
    low = max(0, cut - RESPONSE_SAMPLES - 1)
    high = min(readings.t_s.size, cut + RESPONSE_SAMPLES + 1)
    before = float(np.median(readings.force[max(0, low - EDGE) : low + 1]))
    done = (before - readings.force[low:high]) / size
    half = int(np.argmax(done >= 0.5))
    room = max(0.12, 3.0 * readings.noise / abs(size))
    still = np.flatnonzero(done[: half + 1] <= room)
    last = low + (int(still[-1]) if still.size else 0)
    return min(max(last + 1, EDGE + 1), readings.t_s.size - EDGE - RESPONSE_SAMPLES)


def with_step(rows: Rows, at_s: float, response_s: float) -> Rows:
    """The rows with one more step; those within the converter's answer to it left out."""
    width = 0.5 * (float(np.median(np.diff(rows.t_s))) + response_s)
    passing = np.abs(rows.t_s - at_s) < width
    return replace(without(rows, passing), slips_s=(*rows.slips_s, at_s))
