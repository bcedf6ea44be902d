"""How a bench stands: cell, head, each clamp, and every alert ever raised."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from tensionlog.clamps.alerts import Alert
from tensionlog.clamps.histories import series_of
from tensionlog.clamps.hold_result import HoldLimits
from tensionlog.clamps.records import Record, Served
from tensionlog.clamps.series import BASELINE, DAY_S, Chart, Series, chart
from tensionlog.clamps.status import iso, status_of
from tensionlog.pipeline.alert_life import Alerts
from tensionlog.pipeline.answers import clean
from tensionlog.pipeline.bench_records import records_of

if TYPE_CHECKING:
    from tensionlog.store import Store

Answer = dict[str, Any]

LOOKED_BACK: Final = timedelta(days=400)
"""How much of a bench's history its state rests on: what is older is for the report."""

FORESEEN_DAYS: Final = 730.0
"""A limit that a trend reaches later than this is reached by no trend."""

UNTESTED: Final[Answer] = {
    "clamp": "", "state": None, "give_mm": None, "since": None, "tested": None, "tests": 0,
    "needed": BASELINE, "reasons": [],
}  # fmt: skip
"""What is known of a clamp that was never hold-tested."""


def bench_status(store: "Store", bench: str, *, at: datetime | None = None) -> Answer:
    """How a bench stands, or stood at a time, in the pinned form.

    Args:
        store: A database that is caught up.
        bench: Which bench.
        at: What was recorded later is not looked at.
    """
    newest = at or _newest(store, bench)
    alerts = Alerts(store.history.events(bench, until=newest)).named
    records = records_of(
        store.history.happened(bench, since=newest - LOOKED_BACK, until=newest)
    )
    checks = store.history.answers("check", bench, until=newest, newest=1)
    limits = _limits(store, bench, newest)
    at_s = max((r.at_s for r in records), default=newest.timestamp())
    status = status_of(records, at_s=at_s, limits=limits, alerts=list(alerts.values()))
    stated = status.answer()
    series = series_of(records)
    stated["cell"] |= _cell(checks[-1].body if checks else {}, series, alerts)
    stated["head"] |= {
        "series": [_drift(series.get("head"), "head")],
        "alert": _open_on(alerts, ("head",)),
    }
    tested = {clamp["clamp"] for clamp in stated["clamps"]}
    stated["clamps"] += [
        UNTESTED | {"clamp": name} for name in sorted(_heard_of(store, bench, records) - tested)
    ]
    for clamp in stated["clamps"]:
        clamp |= _clamp(clamp["clamp"], store, bench, newest, records, series, alerts, limits)
    for answer, name in zip(stated["alerts"], alerts, strict=True):
        answer |= {"alert": name, "bench": bench, "series": sorted(alerts[name].watched)}
    answered: Answer = clean({"bench": bench, **stated})
    return answered


def _heard_of(store: "Store", bench: str, records: Sequence[Record]) -> set[str]:
    """Clamps that were served, or of which jobs have told something."""
    served = {record.clamp for record in records if isinstance(record, Served)}
    return served | set(store.history.clamps_of_jobs(bench))


def _newest(store: "Store", bench: str) -> datetime:
    """Just after everything that the bench has recorded."""
    latest = store.history.latest(bench)
    return latest or datetime(1970, 1, 1, tzinfo=UTC)


def _limits(store: "Store", bench: str, until: datetime) -> HoldLimits:
    """What the bench expected of its clamps at its last hold test."""
    tests = store.history.answers("hold", bench, until=until, newest=1)
    if not tests:
        return HoldLimits()
    usual, body = HoldLimits(), tests[-1].body
    return HoldLimits(
        watch_mm=body.get("watch_mm", usual.watch_mm),
        service_mm=body.get("service_mm", usual.service_mm),
    )


def _cell(
    check: Mapping[str, Any], series: Mapping[str, Series], alerts: Mapping[str, Alert]
) -> Answer:
    names = ("zero", "span", "reference")
    return {
        "u_zero_N": check.get("u_zero_N"),
        "u_span_error_pct": check.get("u_span_error_pct"),
        "problem": check.get("problem"),
        "series": [_drift(series.get(name), name) for name in names],
        "alert": _open_on(alerts, names),
    }


def _drift(series: Series | None, name: str) -> Answer:
    shown = chart(series or Series(name=name, times_s=(), values=()))
    return {
        "name": name,
        "level": shown.level,
        "u_level": shown.u_level,
        "spread": shown.spread,
        "per_day": None if shown.trend is None else shown.trend.slope,
        "tests": len(shown.series.since_mark().values),
        "needed": shown.needed,
    }


def _clamp(
    name: str,
    store: "Store",
    bench: str,
    until: datetime,
    records: Sequence[Record],
    series: Mapping[str, Series],
    alerts: Mapping[str, Alert],
    limits: HoldLimits,
) -> Answer:
    give = series.get(f"give-{name}", Series(name=f"give-{name}", times_s=(), values=()))
    alert = _open_on(alerts, (f"give-{name}",))
    shown = chart(give)
    trend = chart(_since(give, alerts.get(alert or "")), limit=limits.service_mm)
    served = [r for r in records if isinstance(r, Served) and r.clamp == name]
    last = store.history.last_hold(bench, name, until=until) or {}
    return {
        "u_give_mm": last.get("u_give_mm"),
        "hand_off_loss_N": last.get("hand_off_loss_N"),
        "creep_N_per_s": last.get("creep_N_per_s"),
        "problem": last.get("problem"),
        "why_no_mm": last.get("why_no_mm"),
        "level_mm": shown.level,
        "u_level_mm": shown.u_level,
        "spread_mm": shown.spread,
        "mm_per_day": None if trend.trend is None else trend.trend.slope,
        "service_due": _due(trend) if not shown.needed else None,
        "watch_mm": limits.watch_mm,
        "service_mm": limits.service_mm,
        "served": {"at": iso(served[-1].at_s), "what": served[-1].what} if served else None,
        "in_job": store.history.last_evidence(bench, name, until=until),
        "alert": alert,
    }


def _since(give: Series, alert: Alert | None) -> Series:
    """The gives since an alert says that they have moved: the trend is that of the change."""
    if alert is None:
        return give
    kept = [
        (at_s, mm)
        for at_s, mm in zip(give.times_s, give.values, strict=True)
        if at_s >= alert.since_s
    ]
    times_s, values = zip(*kept, strict=True) if kept else ((), ())
    return Series(name=give.name, times_s=times_s, values=values, marks_s=give.marks_s)


def _due(shown: Chart) -> Answer | None:
    """When the trend reaches the limit for a service; None where that is not foreseen."""
    until = shown.until_limit
    if until is None or not isfinite(until.t) or not shown.series.times_s:
        return None
    if until.t - shown.series.times_s[-1] / DAY_S > FORESEEN_DAYS:
        return None
    days = {"at": until.t, "earliest": until.earliest, "latest": until.latest}
    return {key: _day(value) for key, value in days.items()}


def _day(days: float) -> str | None:
    far = not isfinite(days) or days * DAY_S > 4e9  # a century is never
    return None if far else datetime.fromtimestamp(days * DAY_S, UTC).date().isoformat()


def _open_on(alerts: Mapping[str, Alert], names: Sequence[str]) -> str | None:
    """Name of the newest open alert that watches one of the series."""
    found = [
        key
        for key, alert in alerts.items()
        if alert.is_open and any(name in alert.watched for name in names)
    ]
    return found[-1] if found else None
