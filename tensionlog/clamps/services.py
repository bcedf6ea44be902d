"""Did a service help, and for how long did the last one?"""

from dataclasses import dataclass

import numpy as np

from tensionlog.clamps.censored import Interval
from tensionlog.clamps.series import BASELINE, DAY_S, Series
from tensionlog.clamps.shifts import kind_of
from tensionlog.clamps.trace import Floats

LOOKED_AT = 8
"""Tests on either side that are compared: a clamp goes on wearing, long ago is another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceEffect:
    """Before and after one service.

    Attributes:
        at_s: When it was done, seconds UTC since 1970.
        before: Mean before it, or None without a test.
        after: Mean after it, or None without a test.
        change: After less before with its interval; None without both.
        helped: Whether the value surely fell; None where that is not known yet.
        needed: How many more tests after it would tell, 0 where it is told.
        lasted_days: How long until it was back at the level before; None if not yet.
    """

    at_s: float
    before: float | None
    after: float | None
    change: Interval | None
    helped: bool | None
    needed: int
    lasted_days: float | None


def effect_of(series: Series, service_s: float, *, confidence: float = 0.95) -> ServiceEffect:
    """Compare a clamp's give before and after a service.

    Args:
        series: Its gives; other services among its marks bound what is looked at.
        service_s: When the service was done.
        confidence: Of the interval of the change.
    """
    before, after, times = _around(series, service_s)
    change = None
    if before.size and after.size:
        change = _change(series.name, before[-LOOKED_AT:], after[:LOOKED_AT], confidence)
    return ServiceEffect(
        at_s=service_s,
        before=float(before[-LOOKED_AT:].mean()) if before.size else None,
        after=float(after[:LOOKED_AT].mean()) if after.size else None,
        change=change,
        helped=_helped(change),
        needed=_needed(change, after.size),
        lasted_days=_lasted(series.name, before[-LOOKED_AT:], after, times, service_s),
    )


def _around(series: Series, service_s: float) -> tuple[Floats, Floats, Floats]:
    """Values since the mark before, values up to the mark after, and the latter's times."""
    times, values = np.array(series.times_s), np.array(series.values)
    others = [mark for mark in series.marks_s if mark != service_s]
    first_s = max((mark for mark in others if mark < service_s), default=-np.inf)
    last_s = min((mark for mark in others if mark > service_s), default=np.inf)
    earlier = (times > first_s) & (times <= service_s)
    later = (times > service_s) & (times <= last_s)
    return values[earlier], values[later], times[later]


def _change(name: str, before: Floats, after: Floats, confidence: float) -> Interval:
    """Difference of means; the scatter of both, drawn toward what is usual for the kind."""
    from scipy.special import stdtrit

    kind = kind_of(name)
    away = np.concatenate([before - before.mean(), after - after.mean()])
    freedoms = kind.worth + away.size - 2.0
    variance = (kind.worth * kind.scatter**2 + float(away @ away)) / freedoms
    u = (variance * (1.0 / before.size + 1.0 / after.size)) ** 0.5
    half = float(stdtrit(freedoms, 0.5 + 0.5 * confidence)) * float(u)
    best = float(after.mean() - before.mean())
    return Interval(best - half, best, best + half)


def _helped(change: Interval | None) -> bool | None:
    if change is None or change.low < 0.0 < change.high:
        return None
    return change.best < 0.0


def _needed(change: Interval | None, n_after: int) -> int:
    """Tests until the change is told, if it is what it looks like now."""
    if change is None:
        return max(1, BASELINE - n_after)
    if not change.low < 0.0 < change.high:
        return 0
    half = 0.5 * (change.high - change.low)
    wanted = n_after * (half / max(abs(change.best), 0.25 * half)) ** 2
    return max(1, int(np.ceil(wanted)) - n_after)


def _lasted(
    name: str, before: Floats, after: Floats, times: Floats, service_s: float
) -> float | None:
    """Days until two tests in a row stood at the level before the service again."""
    if not before.size or after.size < 2:
        return None
    back = after > before.mean() - 0.5 * kind_of(name).material
    twice = np.flatnonzero(back[1:] & back[:-1])
    return float((times[twice[0]] - service_s) / DAY_S) if twice.size else None
