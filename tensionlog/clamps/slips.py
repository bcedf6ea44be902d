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
from tensionlog.clamps.fit import Fit, Prior, fit_rows
from tensionlog.clamps.law import Rows
from tensionlog.clamps.missed import with_missed, with_step
from tensionlog.clamps.trace import (
    RESPONSE_SAMPLES,
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
    return with_missed(fit, prior, readings, most=MOST, certain=CERTAIN)


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
