"""The level of a locked string carried back to the trip, and on past a change of its share.

A head that locks holds a length: its force falls from the moment it trips, and the dial
table says only what it pulls at that moment. What the string lost since is taken out by
its law; the law's origin and the moment of the trip are not known well, so they are
averaged over, weighed by how well they explain the readings.
"""

import math
from itertools import product
from typing import NamedTuple

import numpy as np

from tensionlog.clamps.law import decades
from tensionlog.clamps.noise import whitening
from tensionlog.clamps.rows import LN_TAU_SD, TAU_S
from tensionlog.clamps.trace import Floats, Readings, averaged

ORIGINS = np.linspace(-2.5, 2.5, 11)
TRIPS = np.linspace(-1.5, 1.5, 5)
"""Origins of the law and moments of the trip that are tried, in standard deviations."""

SHARE_MEAN, SHARE_SD = 0.03, 0.03
WANDER = 0.005
SMOOTHED = 0.75
"""So many conversions a crest is late beyond the converter's delay (a ramp ten times as
steep as the fall, through four conversions' mean of a mean)."""

SURE, CREST_DOUBT = 2.0, 0.003
"""A crest that stands out by so many standard uncertainties is a lock's spring-back."""

HIDDEN_SHARE, HIDING_S = 0.012, 0.4
"""A crank springs back by 1-3 % or not at all; a converter this slow shows neither."""

NEAR_S, CLEAR_S = 1.5, 0.06


class Spell(NamedTuple):
    """When the string hung still, and when it did after the taps; None without a tap."""

    still_from_s: float
    still_to_s: float
    tapped_from_s: float | None
    tapped_to_s: float


class AtTrip(NamedTuple):
    """Levels at the moment of the trip.

    Attributes:
        still_n: Level before the taps, carried back.
        tapped_n: The same after them; None without a tap.
        u_n: Standard uncertainty of the worse of the two.
    """

    still_n: float
    tapped_n: float | None
    u_n: float


class Crest(NamedTuple):
    """The end of a ramp.

    Attributes:
        at_s: When the reading was greatest, the converter's smoothing taken off.
        reading: What it then was, newtons, by the calibration's zero.
    """

    at_s: float
    reading: float


def crest_near(readings: Readings, near_s: float) -> Crest:
    """When the reading would be greatest at the end of a ramp if the converter only waited.

    It smooths too: over a steep ramp and a gentle fall the greatest comes later.
    """
    near = np.abs(readings.t_s - near_s) < NEAR_S
    greatest = int(np.argmax(readings.force[near]))
    at_s = float(readings.t_s[near][greatest]) - SMOOTHED * readings.step_s
    return Crest(at_s, float(readings.force[near][greatest]))


def sprung_back(level: AtTrip, crest_n: float, *, response_s: float) -> AtTrip:
    """The levels before the head sprang back, where it did so as it locked.

    The converter smooths such a crest by a third of a per cent or so; a slow one hides it.

    Args:
        level: As the law carries it back.
        crest_n: The greatest reading, the empty one taken off.
        response_s: How long the converter takes to follow a step.
    """
    doubt_n = CREST_DOUBT * crest_n
    share = crest_n / level.still_n
    if crest_n - level.still_n < SURE * math.hypot(level.u_n, doubt_n):
        hidden_n = HIDDEN_SHARE * min(1.0, response_s / HIDING_S) * level.still_n
        return level._replace(u_n=math.hypot(level.u_n, hidden_n))
    tapped_n = None if level.tapped_n is None else share * level.tapped_n
    return AtTrip(crest_n, tapped_n, math.hypot(level.u_n, 1.5 * doubt_n))


def at_trip(readings: Readings, *, crest: float, zero: float, spell: Spell) -> AtTrip:
    """Carry the level back to the trip.

    Args:
        readings: Of the test.
        crest: When the reading was greatest, on their clock.
        zero: The empty reading.
        spell: What is read.
    """
    first_s = max(spell.still_from_s, crest + CLEAR_S + 0.5 * readings.response_s)
    still = averaged(readings, first_s, spell.still_to_s)
    age, force = still.t_s - crest, still.force - zero
    white = whitening(t_s=age, variance=readings.noise**2 / still.number + 1e-8, wander=WANDER)
    after = None if spell.tapped_from_s is None else _after(readings, crest, zero, spell)
    u_trip_s = 0.01 + 0.15 * readings.response_s
    found = []
    for origin, trip in product(ORIGINS, TRIPS):
        tau_s, late_s = TAU_S * float(np.exp(LN_TAU_SD * origin)), u_trip_s * float(trip)
        column = np.column_stack([np.ones_like(age), -decades(age + late_s, tau_s), force])
        theta, covariance, evidence = _fitted(white(column), float(np.median(force)))
        values, spread = _levels(theta, covariance, after, late_s, tau_s)
        found.append((values, spread, evidence - 0.5 * float(origin**2 + trip**2)))
    return _mixed(found, after is not None)


class _After(NamedTuple):
    age_s: Floats
    force: Floats
    variance: float


def _after(readings: Readings, crest: float, zero: float, spell: Spell) -> _After | None:
    start_s = spell.tapped_to_s if spell.tapped_from_s is None else spell.tapped_from_s
    bins = averaged(readings, start_s, spell.tapped_to_s)
    if bins.t_s.size < 2:
        return None
    waited_s = float(bins.t_s.mean()) - spell.still_to_s
    variance = readings.noise**2 / float(bins.number.sum()) + WANDER**2 * waited_s
    return _After(bins.t_s - crest, bins.force - zero, variance)


def _fitted(white: Floats, level: float) -> tuple[Floats, Floats, float]:
    """Level at the trip and loss per decade, covariance and evidence."""
    design, force = white[:, :2], white[:, 2]
    mean, sd = SHARE_MEAN * level, SHARE_SD * level
    normal = design.T @ design + np.diag([1e-10, sd**-2.0])
    covariance: Floats = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    theta: Floats = covariance @ (design.T @ force + np.array([0.0, mean / sd**2]))
    left = force - design @ theta
    square = float(left @ left) + float((theta[1] - mean) / sd) ** 2
    return theta, covariance, -0.5 * (square + float(np.linalg.slogdet(normal)[1]))


def _levels(
    theta: Floats, covariance: Floats, after: _After | None, late_s: float, tau_s: float
) -> tuple[Floats, Floats]:
    """Level at the trip, still and tapped, shape (2,), and the variance of each."""
    still, fall = float(theta[0]), float(theta[1])
    values, spread = np.full(2, still), np.full(2, float(covariance[0, 0]))
    if after is None:
        return values, spread
    grown = decades(after.age_s + late_s, tau_s)
    carried = still - fall * grown
    ratio = float(np.mean(after.force / carried))
    at, g = float(carried.mean()), float(grown.mean())
    slope = np.array([ratio - still * ratio / at, still * ratio * g / at])
    values[1] = still * ratio
    spread[1] = float(slope @ covariance @ slope) + after.variance * (still / at) ** 2
    return values, spread


def _mixed(found: list[tuple[Floats, Floats, float]], has_tapped: bool) -> AtTrip:
    evidence = np.array([f[2] for f in found])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    values = np.stack([f[0] for f in found])
    mean = weights @ values
    variance = weights @ (np.stack([f[1] for f in found]) + (values - mean) ** 2)
    u_n = float(np.sqrt(variance.max() if has_tapped else variance[0]))
    return AtTrip(float(mean[0]), float(mean[1]) if has_tapped else None, u_n)
