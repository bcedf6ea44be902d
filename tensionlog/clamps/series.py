"""One quantity of the bench over days: level, spread, trend, changes, and what is due.

A service, a recalibration or a new reel is a mark: what came before it is no baseline
for what comes after.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.clamps.trace import Indices
from tensionlog.stats.self_starting import LIMIT, SelfStartingCusum, self_starting_cusum
from tensionlog.stats.trend import TimeUntil, Trend, theil_sen, time_until

DAY_S = 86400.0
BASELINE = 8
"""Tests that a baseline needs: with fewer, its own spread is not known to a third."""

LONGEST = 400
"""Points over which changes are looked for: a year and more of mornings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Values of one quantity in order of time.

    Attributes:
        name: What it is, such as `give-A` or `span`.
        times_s: When each was taken, seconds UTC since 1970, rising, shape (n,).
        values: The values, shape (n,).
        marks_s: Times at which the baseline begins anew.
    """

    name: str
    times_s: tuple[float, ...]
    values: tuple[float, ...]
    marks_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.times_s) != len(self.values):
            raise ValueError(
                f"series {self.name!r} has {len(self.times_s)} times "
                f"and {len(self.values)} values"
            )

    def until(self, at_s: float) -> "Series":
        """What was known at `at_s`."""
        n = int(np.searchsorted(self.times_s, at_s, side="right"))
        marks_s = tuple(mark for mark in self.marks_s if mark <= at_s)
        return Series(
            name=self.name, times_s=self.times_s[:n], values=self.values[:n], marks_s=marks_s
        )

    def since_mark(self) -> "Series":
        """What came after the last mark."""
        last_s = max(self.marks_s, default=-np.inf)
        first = int(np.searchsorted(self.times_s, last_s, side="right"))
        return Series(name=self.name, times_s=self.times_s[first:], values=self.values[first:])

    @property
    def restarts(self) -> tuple[int, ...]:
        """Index of the first value after each mark."""
        first = np.searchsorted(self.times_s, self.marks_s, side="right")
        return tuple(sorted({int(i) for i in first if 0 < i < len(self.times_s)}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of level between two stretches that are level in themselves.

    Attributes:
        index: First value of the new level.
        at_s: When that was taken.
        size: New level less old.
        u_size: Standard uncertainty of it.
    """

    index: int
    at_s: float
    size: float
    u_size: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What a series shows.

    Attributes:
        series: The series.
        level: Median since the last mark, or None.
        u_level: Standard uncertainty of it.
        spread: Standard deviation about it since the last mark, or None.
        trend: Since the last mark, change per day; None with fewer than three values.
        changes: Changes of level over the whole series, marks included.
        cusum: The self-starting chart over the whole series.
        until_limit: When the trend reaches the limit, days since 1970; None without one.
        needed: How many more values the baseline needs, 0 where it has enough.
    """

    series: Series
    level: float | None
    u_level: float | None
    spread: float | None
    trend: Trend | None
    changes: tuple[Change, ...]
    cusum: SelfStartingCusum
    until_limit: TimeUntil | None
    needed: int


def chart(series: Series, *, limit: float | None = None, h: float = LIMIT) -> Chart:
    """Chart a series.

    Args:
        series: What is charted.
        limit: Value at which something is due, or None.
        h: Decision limit of the CUSUM, standard deviations.
    """
    now = series.since_mark()
    values = np.array(now.values)
    days = np.array(now.times_s) / DAY_S
    trend = theil_sen(days, values) if len(set(now.times_s)) >= 3 else None
    spread = spread_of(values) if len(values) >= 3 else None
    return Chart(
        series=series,
        level=float(np.median(values)) if len(values) else None,
        # The median of normal values is known to 1.25 times what their mean is.
        u_level=None if spread is None else 1.2533 * spread / len(values) ** 0.5,
        spread=spread,
        trend=trend,
        changes=changes_of(series),
        cusum=self_starting_cusum(series.values, restarts=series.restarts, h=h),
        until_limit=None if trend is None or limit is None else time_until(trend, limit=limit),
        needed=max(0, BASELINE - len(values)),
    )


def spread_of(values: ArrayLike) -> float:
    """Standard deviation from neighbours' differences, so that a change does not widen it.

    >>> spread_of([1.0, 1.0, 1.0, 5.0, 5.0, 5.0])
    0.0
    """
    steps = np.abs(np.diff(np.asarray(values, dtype=np.float64)))
    return float(np.median(steps) / 0.9539) if steps.size else 0.0


def changes_of(series: Series) -> tuple[Change, ...]:
    """Changes of level, by the partition into level stretches that costs least.

    A further stretch must explain more than three times ln n of the variance, as much as
    a level and a place for it are worth (Yao 1988: Schwarz's criterion).
    """
    skipped = max(0, len(series.values) - LONGEST)
    values = np.array(series.values[skipped:])
    if len(values) < 4:
        return ()
    spread = spread_of(values)
    edges = partition(values, spread=spread if spread > 0.0 else float(np.std(values)))
    found = []
    for before, at, after in zip(edges, edges[1:], edges[2:], strict=False):
        old, new = values[before:at], values[at:after]
        u = spread * (1.0 / len(old) + 1.0 / len(new)) ** 0.5
        index = skipped + at
        found.append(
            Change(
                index=index,
                at_s=series.times_s[index],
                size=float(new.mean() - old.mean()),
                u_size=u,
            )
        )
    return tuple(found)


def partition(values: ArrayLike, *, spread: float, shortest: int = 2) -> tuple[int, ...]:
    """Edges of the level stretches, 0 and n included (optimal partitioning).

    Args:
        values: Shape (n,).
        spread: Standard deviation inside a stretch.
        shortest: Fewest values of a stretch.
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    if not spread > 0.0 or n < 2 * shortest:
        return (0, n)
    total = np.concatenate([[0.0], np.cumsum(x)])
    square = np.concatenate([[0.0], np.cumsum(x**2)])
    worth = 3.0 * np.log(n) * spread**2
    cost, last = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.intp)
    cost[0] = -worth
    for end in range(shortest, n + 1):
        begins = np.arange(0, end - shortest + 1)
        inside = square[end] - square[begins]
        inside = inside - (total[end] - total[begins]) ** 2 / (end - begins)
        tried = cost[begins] + inside + worth
        last[end] = int(np.argmin(tried))
        cost[end] = tried[last[end]]
    return _edges(last, n)


def _edges(last: Indices, n: int) -> tuple[int, ...]:
    edges = [n]
    while edges[-1] > 0:
        edges.append(int(last[edges[-1]]))
    return tuple(reversed(edges))
