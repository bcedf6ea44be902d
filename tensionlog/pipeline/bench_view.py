"""The database to the record that the maintenance page is drawn from."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Any, Final

from tensionlog import __version__
from tensionlog.clamps.alerts import Alert
from tensionlog.clamps.censored import share_seen
from tensionlog.clamps.histories import SAME_FORCE, alike, series_of
from tensionlog.clamps.hold_result import HoldLimits
from tensionlog.clamps.records import Record, Served, Tested
from tensionlog.clamps.series import BASELINE, Series
from tensionlog.pipeline.alert_life import Alerts
from tensionlog.pipeline.bench_records import records_of
from tensionlog.pipeline.services import effects_on
from tensionlog.pipeline.status import bench_status
from tensionlog.report.bench_view import BenchView, Held, InJobs, Line, Mark

if TYPE_CHECKING:
    from tensionlog.model.history import Evidence
    from tensionlog.store import Store, StoredAnswer

LATEST_JOBS: Final = 20
RECENT_TESTS: Final = 60
"""Newest hold tests of all clamps whose curves are looked at."""

DRIFTS: Final = {
    "zero": ("Zero of the cell", "N"),
    "span": ("The cell against its masses", "%"),
    "head": ("The head against its dial", "%"),
    "relaxation": ("The control reel's own relaxation", "points a decade of time"),
}

Curve = tuple[float | None, ...]


def bench_view(store: "Store", bench: str, *, at: datetime) -> BenchView:
    """Gather what the maintenance page of a bench says.

    Args:
        store: A database that is caught up.
        bench: Which bench.
        at: Now, in the zone of the workshop.
    """
    records = records_of(store.history.happened(bench))
    series = series_of(records)
    alerts = Alerts(store.history.events(bench)).all
    status = bench_status(store, bench)
    served = [record for record in records if isinstance(record, Served)]
    clamps = [
        clamp["clamp"] for clamp in status["clamps"] if f"give-{clamp['clamp']}" in series
    ]
    holds = store.history.answers("hold", bench, newest=RECENT_TESTS)
    made = [_held(name, holds, served) for name in clamps]
    return BenchView(
        status=status,
        written_on=at,
        gives={
            name: _line(
                series[f"give-{name}"],
                alerts,
                name=f"Give of clamp {name}",
                unit="mm",
                served=[one for one in served if one.clamp == name],
                limits=_limits(status, name),
            )
            for name in clamps
        },
        held={name: held for name, held in zip(clamps, made, strict=True) if held is not None},
        a_minus_b=_difference(series, alerts, served),
        drifts=tuple(
            _line(series[key], alerts, name=name, unit=unit)
            for key, (name, unit) in DRIFTS.items()
            if key in series
        ),
        services=_services(records, series, sorted({one.clamp for one in served})),
        in_jobs=tuple(_in_jobs(store, bench)),
        other_force=_other_force(records),
        made_with=f"tensionlog {__version__}",
    )


def _limits(status: Mapping[str, Any], name: str) -> tuple[tuple[float, str], ...]:
    usual = HoldLimits()
    clamp = next(one for one in status["clamps"] if one["clamp"] == name)
    watch = clamp.get("watch_mm", usual.watch_mm)
    return (watch, "watch"), (clamp.get("service_mm", usual.service_mm), "service")


def _line(
    series: Series,
    alerts: Sequence[Alert],
    *,
    name: str,
    unit: str,
    served: Sequence[Served] = (),
    limits: tuple[tuple[float, str], ...] = (),
) -> Line:
    about = [alert for alert in alerts if series.name in alert.watched]
    return Line(
        name=name,
        unit=unit,
        times_s=series.times_s,
        values=series.values,
        marks=tuple(Mark(one.at_s, one.what) for one in served),
        levels=tuple(_levels(series)),
        limits=limits,
        alerts=tuple((alert.raised_s, alert.closed_s) for alert in about),
    )


def _levels(series: Series) -> Iterator[tuple[float, float, float]]:
    """Median of each stretch between marks."""
    edges = [0, *series.restarts, len(series.values)]
    for first, last in pairwise(edges):
        if last > first:
            level = float(median(series.values[first:last]))
            yield series.times_s[first], series.times_s[last - 1], level


def _difference(
    series: Mapping[str, Series], alerts: Sequence[Alert], served: Sequence[Served]
) -> Line | None:
    if "a-minus-b" not in series:
        return None
    return _line(
        series["a-minus-b"], alerts, name="Clamp A less clamp B", unit="mm", served=served
    )


def _held(clamp: str, holds: "Sequence[StoredAnswer]", served: Sequence[Served]) -> Held | None:
    """The latest curve of a clamp over those of its baseline; None without a curve."""
    own = [hold for hold in holds if hold.body["clamp"] == clamp and hold.body.get("curve")]
    if not own:
        return None
    latest = own[-1].body
    since = max((s.at_s for s in served if s.clamp == clamp), default=float("-inf"))
    same = [
        one.body
        for one in own[:-1]
        if one.started.timestamp() > since and _is_same_force(one.body, latest)
    ][:BASELINE]
    falls = [_fall(body) for body in same]
    low, middle, high = _range(falls)
    return Held(
        start_s=latest["curve"]["start_s"],
        step_s=latest["curve"]["step_s"],
        latest=_fall(latest),
        latest_on=f"{own[-1].started:%Y-%m-%d}",
        low=low,
        middle=middle,
        high=high,
        tests=len(falls),
        force_n=latest["target_N"],
    )


def _is_same_force(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    if not one["target_N"] or not other["target_N"]:
        return False
    return bool(abs(one["target_N"] / other["target_N"] - 1.0) < SAME_FORCE)


def _fall(body: Mapping[str, Any]) -> Curve:
    """What has gone since before the hand-off, newtons."""
    return tuple(
        None if force is None else body["pulled_N"] - force
        for force in body["curve"]["force_N"]
    )


def _range(falls: Sequence[Curve]) -> tuple[Curve, Curve, Curve]:
    """Least, middle and greatest fall at each time that any of them reaches."""
    rows: list[list[float]] = []
    for n in range(max(map(len, falls), default=0)):
        at = [fall[n] for fall in falls if n < len(fall)]
        rows.append([value for value in at if value is not None])
    return (
        tuple(min(row) if row else None for row in rows),
        tuple(median(row) if row else None for row in rows),
        tuple(max(row) if row else None for row in rows),
    )


def _services(
    records: Sequence[Record], series: Mapping[str, Series], clamps: Sequence[str]
) -> tuple[Any, ...]:
    found = []
    for clamp in clamps:
        name = f"give-{clamp}"
        give = series.get(name, Series(name=name, times_s=(), values=()))
        found += effects_on(give, records, clamp)
    return tuple(sorted(found, key=lambda one: str(one["at"])))


def _in_jobs(store: "Store", bench: str) -> Iterator[InJobs]:
    """What the latest jobs said, clamp by clamp."""
    said = [stored.evidence for stored in store.history.evidence(bench)]
    for clamp in sorted({one.clamp for one in said}):
        yield _in_job(clamp, [one for one in said if one.clamp == clamp][-LATEST_JOBS:])


def _in_job(clamp: str, said: "Sequence[Evidence]") -> InJobs:
    could, seen = sum(one.could_show for one in said), sum(one.seen for one in said)
    share = share_seen(seen=seen, of=could) if could else None
    return InJobs(
        clamp=clamp,
        jobs=len(said),
        releases=sum(one.releases for one in said),
        could_show=could,
        seen=seen,
        low=None if share is None else share.low,
        high=None if share is None else share.high,
        dead_band_n=median(one.dead_band_n for one in said),
        dead_band_mm=median(one.dead_band_mm for one in said),
    )


def _other_force(records: Sequence[Record]) -> int:
    """Hold tests with an answer that no other is compared with."""
    answered = [r for r in records if isinstance(r, Tested) and r.verdict is not None]
    return len(answered) - len(alike(answered))
