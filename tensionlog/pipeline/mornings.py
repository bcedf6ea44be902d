"""The mornings of a bench as series: zero, span and head, restarted where they must be.

A recalibration restarts zero and span, for they are then read by another scale; a service
of the head restarts the head. What one morning says of each is one number.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from tensionlog.check.drift import Series, Watched, watch
from tensionlog.pipeline.calibrations import ADOPT, UNDO
from tensionlog.pipeline.heads import head_checks

if TYPE_CHECKING:
    from tensionlog.model.recording import Calibration
    from tensionlog.store import Store

UNITS: Final = {"zero": "N", "span": "%", "head": "%"}
TOLERANCES: Final[Mapping[str, float | None]] = {"zero": None, "span": 0.5, "head": 5.0}
"""Level that must not be passed: a span's is the usual tolerance of a load, a head's what
dial advice corrects at most; zero belongs to the mounting and has none."""

HEAD: Final = "head"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Something that was done, to be drawn into the charts.

    Attributes:
        at: When.
        what: In plain words.
        kind: `calibration` or `service`.
        clamp: What was served, or None.
    """

    at: datetime
    what: str
    kind: str
    clamp: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """One series with its dates.

    Attributes:
        began: Day 0 of the series.
        watched: What it shows; its days count from `began`.
    """

    began: datetime
    watched: Watched

    def on(self, day: float | None) -> datetime | None:
        """The date of a day of the series."""
        return None if day is None else self.began + timedelta(days=day)

    def answer(self) -> dict[str, Any]:
        """The finding as plain values, days as dates."""
        body = self.watched.answer()
        dates = {
            key.replace("_day", ""): _iso(self.on(body.get(key)))
            for key in ("alarm_day", "alert_day", "since_day")
        }
        left = self.watched.left
        until = {
            name: _iso(self._until(getattr(left, name, None)))
            for name in ("t", "earliest", "latest")
        }
        return {**body, "began": self.began.isoformat(), **dates, "tolerance_reached": until}

    def _until(self, day: float | None) -> datetime | None:
        """A date in sight; what lies centuries ahead is none."""
        if day is None or not abs(day) < 20_000:
            return None
        return self.on(day)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Morning:
    at: datetime
    value: float
    calibration: "Calibration | None"


def drifts(store: "Store", *, bench: str) -> list[Drift]:
    """Zero, span and head over the mornings of a bench; those without any reading left out."""
    done = marks(store, bench=bench)
    some = {
        "zero": _of_checks(store, bench, "zero_N"),
        "span": _of_checks(store, bench, "span_error_pct"),
        "head": [
            _Morning(at=c.started, value=c.result.error_pct, calibration=None)
            for c in head_checks(store, bench=bench)
        ],
    }
    return [_drift(name, mornings, done) for name, mornings in some.items() if mornings]


def marks(store: "Store", *, bench: str) -> list[Mark]:
    """Recalibrations and services, oldest first."""
    words = {ADOPT: "calibration adopted", UNDO: "calibration taken back"}
    found = []
    for stored in store.notes():
        note = stored.note
        if stored.bench != bench:
            continue
        at = datetime.fromtimestamp(note.at_s, tz=UTC)
        if note.name in words:
            found.append(Mark(at=at, what=words[note.name], kind="calibration"))
        elif note.name == "service":
            clamp, what = note.body.get("clamp"), note.body.get("what")
            said = f"{clamp or 'bench'}: {what or 'service'}"
            found.append(
                Mark(at=at, what=said, kind="service", clamp=str(clamp) if clamp else None)
            )
    return found


def _of_checks(store: "Store", bench: str, key: str) -> list[_Morning]:
    used = {r.recording_id: r.header.calibration for r in store.recordings()}
    return [
        _Morning(
            at=stored.started,
            value=float(stored.body[key]),
            calibration=used.get(stored.recording_id),
        )
        for stored in store.answers("check")
        if stored.bench == bench
        and stored.body.get(key) is not None
        and not stored.body.get("incomplete")
    ]


def _drift(name: str, mornings: Sequence[_Morning], done: Sequence[Mark]) -> Drift:
    began = mornings[0].at
    series = Series(
        name=name,
        unit=UNITS[name],
        day=[(m.at - began) / timedelta(days=1) for m in mornings],
        value=[m.value for m in mornings],
        restarts=_restarts(name, mornings, done),
        tolerance=TOLERANCES[name],
    )
    return Drift(began=began, watched=watch(series))


def _restarts(name: str, mornings: Sequence[_Morning], done: Sequence[Mark]) -> tuple[int, ...]:
    """Indices of the first morning after what makes an old reading no measure of a new one."""
    touches = [m.at for m in done if m.kind == "service" and m.clamp == HEAD]
    at = []
    for i in range(1, len(mornings)):
        before, now = mornings[i - 1], mornings[i]
        if name == "head":
            again = any(before.at < t <= now.at for t in touches)
        else:
            again = before.calibration != now.calibration
        if again:
            at.append(i)
    return tuple(at)


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
