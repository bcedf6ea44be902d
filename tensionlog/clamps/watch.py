"""The watch over a bench: records in, alerts and the state of everything out.

Recordings are taken one after the other, as they were opened. After each the series up to
then are asked who did it; so `raised` is the time of the recording that raised an alert,
and replaying gives the same alerts as living through it did. `alerts_after` takes one
step, `alerts_of` all of them: the database may keep the alerts and take one step for
each new recording, and a rebuild gets the same.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tensionlog.clamps.alerts import Alert, acted, after_recording, seen
from tensionlog.clamps.causes import who_did_it
from tensionlog.clamps.histories import series_of
from tensionlog.clamps.records import Record, Served, Told
from tensionlog.clamps.series import Series
from tensionlog.clamps.shifts import BASELINE_S, LOOK_BACK_S

LOOKED_AT_S = LOOK_BACK_S + BASELINE_S
"""Records older than this before a recording make no difference to its alerts."""


def alerts_of(records: Sequence[Record]) -> tuple[Alert, ...]:
    """Every alert ever raised on a bench, oldest first, as they stand after all records."""
    ordered = sorted(records, key=lambda record: (record.recording_s, record.at_s))
    alerts: tuple[Alert, ...] = ()
    for recording_s in sorted({record.recording_s for record in ordered}):
        alerts = alerts_after(alerts, ordered, recording_s=recording_s)
    return alerts


def alerts_after(
    alerts: Sequence[Alert], records: Sequence[Record], *, recording_s: float
) -> tuple[Alert, ...]:
    """The alerts after one more recording.

    Args:
        alerts: As they stood before it.
        records: What is known of the bench; those of later recordings are not looked at,
            those older than `LOOKED_AT_S` may be left out.
        recording_s: When the recording was opened.
    """
    known = [r for r in records if recording_s - LOOKED_AT_S <= r.recording_s <= recording_s]
    new = [record for record in known if record.recording_s == recording_s]
    if not new:
        return tuple(alerts)
    at_s = max(record.at_s for record in new)
    now = _heard(alerts, new)
    series = series_of(known)
    finding = who_did_it(_since_alerts(series, now), at_s)
    after = after_recording(now, series, finding, at_s=at_s)
    return tuple(_raised_by(alert, at_s, recording_s) for alert in after)


def _raised_by(alert: Alert, at_s: float, recording_s: float) -> Alert:
    return replace(alert, raised_s=recording_s) if alert.raised_s == at_s else alert


def _heard(alerts: Sequence[Alert], new: Sequence[Record]) -> tuple[Alert, ...]:
    """The alerts after what people did and said in a recording."""
    now = tuple(alerts)
    for record in new:
        if isinstance(record, Served):
            now = tuple(_served(alert, record) for alert in now)
        elif isinstance(record, Told):
            now = tuple(_told(alert, record) for alert in now)
    return now


def _served(alert: Alert, service: Served) -> Alert:
    spoken = f"give-{service.clamp}" in alert.watched
    return acted(alert, at_s=service.at_s) if spoken else alert


def _told(alert: Alert, told: Told) -> Alert:
    if abs(alert.raised_s - told.raised_s) > 1e-3:
        return alert
    return (seen if told.state == "seen" else acted)(alert, at_s=told.at_s)


def _since_alerts(series: Mapping[str, Series], alerts: Sequence[Alert]) -> dict[str, Series]:
    """The series, each from the last alert that speaks of it and is still open.

    What else moves is looked for against the level it has come to since.
    """
    marks: dict[str, list[float]] = {name: [] for name in series}
    for alert in alerts:
        for name in alert.watched if alert.is_open else ():
            marks.setdefault(name, []).append(max(alert.raised_s, *alert.reopened_s, 0.0))
    return {
        name: replace(one, marks_s=tuple(sorted({*one.marks_s, *marks[name]})))
        for name, one in series.items()
    }
