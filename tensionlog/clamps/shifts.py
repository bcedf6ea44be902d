"""How far each series has moved since any day, by any of two shapes.

For each possible day and shape (a step, or a drift that goes on) a straight model with
an unknown level before is laid through each series by itself. What a cause would do to
all of them together is then put together from these.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tensionlog.clamps.series import BASELINE, DAY_S, Series
from tensionlog.clamps.trace import Floats, Indices

SHAPES = ("step", "drift")
LOOK_BACK_S = 45.0 * DAY_S
BASELINE_S = 120.0 * DAY_S
FEWEST = 5
"""Tests before which nothing has moved, where the usual scatter is well known."""

CLIP = 3.5
"""No single value counts as further out than this, so that one bad test is no shift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What is known of a kind of series before any of it is seen.

    Attributes:
        unit: For people.
        material: Smallest shift that matters.
        scatter: Usual standard deviation from day to day.
        digits: Decimals for people.
        worth: Tests that the usual scatter is worth beside what this bench has shown.
    """

    unit: str
    material: float
    scatter: float
    digits: int = 2
    worth: float = 2.0


KINDS: Mapping[str, Kind] = {
    "zero": Kind(unit="N", material=0.2, scatter=0.07),
    "span": Kind(unit="%", material=0.2, scatter=0.06),
    "head": Kind(unit="%", material=0.5, scatter=0.25),
    "give": Kind(unit="mm", material=0.15, scatter=0.1, worth=6.0),
    "relaxation": Kind(unit="points a decade", material=0.5, scatter=0.2),
    "a-minus-b": Kind(unit="mm", material=0.15, scatter=0.1),
    "early": Kind(unit="points", material=20.0, scatter=8.0, digits=0),
    "reference": Kind(unit="%", material=0.2, scatter=0.06),
    "batch": Kind(unit="points a decade", material=0.5, scatter=0.3),
}
"""Defaults; a bench may set its own. The material sizes are what a stringer would act on."""


def kind_of(name: str) -> Kind:
    """The kind of a series by its name; `give-A` is a `give`."""
    return KINDS["give" if name.startswith("give-") else name]


class Shift(NamedTuple):
    """How far one series has moved.

    Attributes:
        size: Distance, in its unit; of a drift, what it has come to by now.
        u: Standard uncertainty of it; infinite where nothing was measured since.
        level: Level before.
        n_after: Values since then.
    """

    size: float
    u: float
    level: float
    n_after: int


class Shifts(NamedTuple):
    """The same for every day and shape that is looked at, arrays of shape (k,).

    Attributes:
        size: Distances.
        u: Standard uncertainties, infinite where unknown.
        level: Levels before.
        n_after: Values since then.
        score: The distances in standard deviations, single values clipped.
    """

    size: Floats
    u: Floats
    level: Floats
    n_after: Floats
    score: Floats

    def at(self, place: int) -> Shift:
        """The shift since one of the days."""
        size, u, level, n_after, _ = (float(column[place]) for column in self)
        return Shift(size, u, level, int(n_after))


class Since(NamedTuple):
    """A day and a shape under which all series are looked at together."""

    at_s: float
    shape: str


def possible(series: Mapping[str, Series], at_s: float) -> tuple[Since, ...]:
    """Every day on which something may have begun, by what was measured on it."""
    times = {
        t for one in series.values() for t in one.times_s if at_s - LOOK_BACK_S < t <= at_s
    }
    # Tests of one morning stand together: the first of them is the day.
    firsts = list[float]()
    for time_s in sorted(times):
        if not firsts or time_s - firsts[-1] > 0.5 * DAY_S:
            firsts.append(time_s)
    return tuple(Since(first, shape) for first in firsts for shape in SHAPES)


def shifts_of(series: Series, sinces: tuple[Since, ...], at_s: float) -> Shifts:
    """How far a series has moved by `at_s`, if it began to move at each of `sinces`."""
    now, kind = series.since_mark(), kind_of(series.name)
    times, values = np.array(now.times_s), np.array(now.values)
    used = times > at_s - LOOK_BACK_S - BASELINE_S
    times, values = times[used], values[used]
    begins = np.array([since.at_s for since in sinces])
    before = times[None, :] < begins[:, None]
    n_before = before.sum(axis=1)
    shape = _shapes(times, sinces, at_s)
    n_after = (~before).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = (before @ values) / n_before
        miss = values[None, :] - level[:, None]
        scatter = _scatter(miss * before, n_before, kind)
        power = (shape**2).sum(axis=1) - shape.sum(axis=1) ** 2 / len(values)
        fewest = max(FEWEST, BASELINE + 2.0 - kind.worth)
        known = (n_before >= fewest) & (n_after > 0) & (power > 1e-9)
        u = np.where(known, scatter / np.sqrt(power), np.inf)
        size = np.where(known, _laid(miss, shape, power), 0.0)
        bound = CLIP * scatter[:, None]
        clipped = _laid(np.clip(miss, -bound, bound), shape, power) / u
        score = np.where(known, _as_normal(clipped, kind.worth + n_before - 1.0), 0.0)
    return Shifts(size, u, level, n_after.astype(np.float64), score)


def _as_normal(ratio: Floats, freedoms: Floats) -> Floats:
    """A normal score that explains as much as Student's ratio does.

    The scatter is itself known from few tests: early in a history a ratio of four is no
    four in a thousand.
    """
    gain = (freedoms + 1.0) * np.log1p(ratio**2 / freedoms)
    normal: Floats = np.sign(ratio) * np.sqrt(gain)
    return normal


def _scatter(away: Floats, n: Indices, kind: Kind) -> Floats:
    """Standard deviation of each baseline, drawn toward what is usual for the kind."""
    total = kind.worth * kind.scatter**2 + (away**2).sum(axis=1)
    scatter: Floats = np.sqrt(total / (kind.worth + np.maximum(n - 1.0, 0.0)))
    return scatter


def _shapes(times: Floats, sinces: tuple[Since, ...], at_s: float) -> Floats:
    """Each day's shape over the series' times, shape (k, n)."""
    begins = np.array([since.at_s for since in sinces])[:, None]
    drifts = np.array([since.shape == "drift" for since in sinces])[:, None]
    # A drift has come half a day's way when it is first seen.
    gone = (times[None, :] - begins + 0.5 * DAY_S) / (at_s - begins + 0.5 * DAY_S)
    return np.where(times[None, :] >= begins, np.where(drifts, gone, 1.0), 0.0)


def _laid(miss: Floats, shape: Floats, power: Floats) -> Floats:
    """Size of each shape by least squares, the level free."""
    mean = miss.sum(axis=1) / miss.shape[1]
    laid: Floats = ((shape * miss).sum(axis=1) - shape.sum(axis=1) * mean) / power
    return laid
