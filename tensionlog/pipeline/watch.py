"""The watch over a bench: every sitting in order of time, and the alerts that come of it.

It goes on from where it stood, or from where a late sitting has taken it back to. Either
way each step rests on nothing later than its sitting, so that a live bench, a replay and
a rebuild raise the same alerts at the same times.
"""

from bisect import bisect_left, bisect_right
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from tensionlog.clamps.watch import LOOKED_AT_S, alerts_after
from tensionlog.model.history import AlertEvent
from tensionlog.pipeline.alert_life import Alerts
from tensionlog.pipeline.bench_records import records_of

if TYPE_CHECKING:
    from tensionlog.store import Store


def keep_watch(store: "Store") -> list[AlertEvent]:
    """Let the watch look at every sitting that it has not looked at yet.

    Returns:
        What happened to alerts, bench by bench, oldest first.
    """
    events: list[AlertEvent] = []
    for bench in store.history.unwatched_benches():
        with store.transaction():
            events += _watch_bench(store, bench)
    return events


def _watch_bench(store: "Store", bench: str) -> list[AlertEvent]:
    from tensionlog.pipeline.status import bench_status

    alerts, found = Alerts(store.history.events(bench)), list[AlertEvent]()
    fresh = store.history.unwatched(bench)
    if fresh:
        first = datetime.fromtimestamp(fresh[0].recording_s, UTC)
        since = first - timedelta(seconds=LOOKED_AT_S)
        records = records_of(store.history.happened(bench, since=since))
        begun_s = [record.recording_s for record in records]
    for sitting in fresh:
        at_s = sitting.recording_s
        known = slice(bisect_left(begun_s, at_s - LOOKED_AT_S), bisect_right(begun_s, at_s))
        later = alerts_after(alerts.all, records[known], recording_s=at_s)
        events = alerts.become(later, at_s=at_s)
        store.history.watched(sitting.recording_id, events)
        found += events
    store.history.glanced(bench, bench_status(store, bench))
    return found
