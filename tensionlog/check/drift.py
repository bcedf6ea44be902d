"""Over the mornings: has the cell or the head changed, since when, how much, how long left?

Each series has an individuals chart for the eye. The alarm is a self-starting CUSUM, and
beside it an EWMA of the same scores that sees a slow creep sooner; both share one budget
of false alarms over all series of the bench, or seven charts would cry wolf in half of all
forty-day histories. An alert needs more than an alarm: the shift must also be large enough
to matter. A recalibration or a service restarts every chart it touches.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.errors import CalibrationError
from tensionlog.stats.control import (
    EwmaChart,
    IndividualsChart,
    ewma_chart,
    individuals_between_marks,
)
from tensionlog.stats.self_starting import (
    REFERENCE,
    SelfStartingCusum,
    Shift,
    self_starting_cusum,
)
from tensionlog.stats.trend import TimeUntil, Trend, theil_sen, time_until

Floats = NDArray[np.float64]

MATERIAL: Final[Mapping[str, float]] = {"zero": 0.2, "span": 0.2, "head": 0.5}
"""Smallest shift that matters: zero in newtons, span and head in per cent."""

FEWEST: Final = 4
"""Readings in a row (since the last mark) before a series can say anything."""

LATEST: Final = 3
"""The size of a shift is that of its latest readings: a creeping cell is where it has got
to, not where it was on the average."""

EWMA_WEIGHT: Final = 0.2
EWMA_WIDTH: Final = 4.2
"""So wide that the EWMA alone adds about one false alarm to a hundred histories."""

CUSUM_LIMIT: Final = 6.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One number of the morning check over the mornings.

    Attributes:
        name: `zero`, `span`, `head`, or another.
        unit: Of the values, for people.
        day: When each was taken, days on any axis, rising, shape (n,).
        value: The readings, shape (n,).
        restarts: Indices of the first reading after a recalibration or service.
        material: Smallest shift that matters.
        tolerance: Level that must not be passed either way from zero, or None.
    """

    name: str
    unit: str
    day: Sequence[float]
    value: Sequence[float]
    restarts: tuple[int, ...] = ()
    material: float | None = None
    tolerance: float | None = None

    @property
    def matters_from(self) -> float:
        """The smallest shift that counts."""
        return MATERIAL.get(self.name, 0.0) if self.material is None else self.material


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What a series shows.

    Attributes:
        series: The readings.
        individuals: A chart for each stretch between marks; None where one is too short.
        scores: Chart of the normal scores by exponentially weighted average.
        cusum: The chart that alarms.
        shift: Since the first alarm of the last stretch: size by the latest readings.
            None where no alarm came.
        alarm_day: Day of that alarm.
        since_day: Day from which on the level has been another, about.
        alert_day: First day on which there was an alarm and its size mattered, or None.
        trend: Theil-Sen slope per day over the last stretch, or None if too short.
        left: When the trend reaches the tolerance, or None.
        says: One line for people.
    """

    series: Series
    individuals: tuple[IndividualsChart | None, ...]
    scores: EwmaChart
    cusum: SelfStartingCusum
    shift: Shift | None
    alarm_day: float | None
    since_day: float | None
    alert_day: float | None
    trend: Trend | None
    left: TimeUntil | None
    says: str

    @property
    def begins(self) -> int:
        """Index of the first reading after the last mark."""
        values = self.series.value
        return max((r for r in self.series.restarts if r < len(values)), default=0)

    @property
    def is_alert(self) -> bool:
        """Whether there was an alarm and its size mattered."""
        return self.alert_day is not None

    def answer(self) -> dict[str, Any]:
        """The finding as plain values; what is not known is None."""
        shift, left = self.shift, self.left
        return {
            "name": self.series.name,
            "unit": self.series.unit,
            "mornings": len(self.series.value) - self.begins,
            "needed": FEWEST,
            "alert": self.is_alert,
            "alarm_day": self.alarm_day,
            "alert_day": self.alert_day,
            "since_day": self.since_day,
            "size": shift.size if shift else None,
            "u_size": shift.u_size if shift else None,
            "slope_per_day": self.trend.slope if self.trend else None,
            "slope_low": self.trend.slope_low if self.trend else None,
            "slope_high": self.trend.slope_high if self.trend else None,
            "tolerance_day": _finite(left.t if left else None),
            "tolerance_earliest": _finite(left.earliest if left else None),
            "tolerance_latest": _finite(left.latest if left else None),
            "says": self.says,
        }


def watch(series: Series, *, limit: float = CUSUM_LIMIT) -> Watched:
    """Chart one series and say what it shows.

    Args:
        series: The readings.
        limit: Decision limit of the CUSUM. The default keeps seven series of forty
            mornings to one false alarm in eleven histories; `stats.run_length.cusum_limit`
            gives it for another budget.

    Raises:
        CalibrationError: Days and readings do not match, or days do not rise.
    """
    day, value = _checked(series)
    cusum = self_starting_cusum(value, k=REFERENCE, h=limit, restarts=series.restarts)
    begin = max((r for r in series.restarts if r < len(value)), default=0)
    scores = _score_chart(cusum.scores, begin)
    alarm = _first_alarm(cusum, scores, begin)
    sizes = _sizes(value, alarm, begin) if alarm else []
    alert = next((s for s in sizes if s.is_material(series.matters_from)), None)
    trend = _trend(day[begin:], value[begin:])
    left = _left(trend, series.tolerance)
    return Watched(
        series=series,
        individuals=individuals_between_marks(value, restarts=series.restarts),
        scores=scores,
        cusum=cusum,
        shift=sizes[-1] if sizes else None,
        alarm_day=float(day[alarm.at]) if alarm else None,
        since_day=float(day[alarm.since]) if alarm else None,
        alert_day=float(day[alert.index]) if alert else None,
        trend=trend,
        left=left,
        says=_says(series, day, len(value) - begin, sizes, alert, left),
    )


def _checked(series: Series) -> tuple[Floats, Floats]:
    day = np.asarray(series.day, dtype=np.float64)
    value = np.asarray(series.value, dtype=np.float64)
    if day.shape != value.shape or day.ndim != 1:
        raise ValueError(f"days and readings must match, not {day.shape} and {value.shape}")
    if len(day) and not (np.isfinite(day).all() and np.all(np.diff(day) >= 0)):
        raise CalibrationError(
            f"the days of the {series.name} series do not rise. Put the mornings in order."
        )
    return day, value


def _score_chart(scores: Floats, begin: int) -> EwmaChart:
    """EWMA of the last stretch's scores; what came before the mark counts as zero."""
    late = np.where(np.arange(len(scores)) < begin, 0.0, np.nan_to_num(scores))
    return ewma_chart(late, target=0.0, sigma=1.0, weight=EWMA_WEIGHT, width=EWMA_WIDTH)


class _Alarm(NamedTuple):
    at: int
    since: int


def _first_alarm(cusum: SelfStartingCusum, scores: EwmaChart, begin: int) -> _Alarm | None:
    """The first alarm since the last mark: the CUSUM's, or the EWMA's where it is sooner."""
    found = [_Alarm(s.index, s.since) for s in cusum.shifts if s.index >= begin]
    found += [_Alarm(i, _rising_since(cusum, i, begin)) for i in scores.alarms if i >= begin]
    return min(found, default=None)


def _rising_since(cusum: SelfStartingCusum, index: int, begin: int) -> int:
    """Since when the larger sum has been above zero."""
    sums = cusum.high if cusum.high[index] >= cusum.low[index] else cusum.low
    quiet = np.flatnonzero(sums[begin : index + 1] <= 0)
    return min(index, begin + (int(quiet[-1]) + 1 if len(quiet) else 0))


def _sizes(value: Floats, alarm: _Alarm, begin: int) -> list[Shift]:
    """How large the shift was on each morning from the alarm on."""
    before = value[begin : alarm.since]
    return [
        _size(before, value[max(alarm.since, index + 1 - LATEST) : index + 1], index, alarm)
        for index in range(alarm.at, len(value))
    ]


def _size(before: Floats, after: Floats, index: int, alarm: _Alarm) -> Shift:
    # never empty: the first two readings of a stretch have no score and raise no sum
    left = np.concatenate([before - before.mean(), after - after.mean()])
    variance = left @ left / max(1, len(left) - 2)
    return Shift(
        index=index,
        since=alarm.since,
        size=float(after.mean() - before.mean()),
        u_size=float(np.sqrt(variance * (1 / len(before) + 1 / len(after)))),
    )


def _trend(day: Floats, value: Floats) -> Trend | None:
    if len(value) < FEWEST or len(np.unique(day)) < 3:
        return None
    return theil_sen(day, value)


def _left(trend: Trend | None, tolerance: float | None) -> TimeUntil | None:
    if trend is None or tolerance is None:
        return None
    return time_until(trend, limit=tolerance if trend.slope >= 0 else -tolerance)


def _says(
    series: Series,
    day: Floats,
    mornings: int,
    sizes: Sequence[Shift],
    alert: Shift | None,
    left: TimeUntil | None,
) -> str:
    name = series.name
    if mornings < FEWEST:
        return f"{name}: {FEWEST - mornings} more morning(s) before this can be watched"
    if not sizes:
        return f"{name}: steady over {mornings} mornings"
    what = f"{sizes[-1].size:+.2g} {series.unit} since day {day[sizes[-1].since]:g}"
    if alert is None:
        return f"{name}: moved by {what}, less than the {series.matters_from:g} that matters"
    until = ""
    if left is not None and left.t < inf:
        until = f"; at this rate the tolerance is reached on day {left.t:.0f}"
    return f"{name}: moved by {what}{until}"


def _finite(x: float | None) -> float | None:
    return x if x is not None and isfinite(x) else None
