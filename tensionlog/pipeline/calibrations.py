"""Calibrations that a bench can choose from, and which of them it has chosen.

A full calibration or the span of a morning check proposes; nothing is in force before a
person adopts it. Adopting and taking back are notes, so both can be read again later.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from tensionlog.errors import CalibrationError
from tensionlog.model.recording import Calibration
from tensionlog.sources.header import calibration_of

if TYPE_CHECKING:
    from tensionlog.sources.recording import RecordingReader
    from tensionlog.store import Store, StoredAnswer, StoredRecording

ADOPT: Final = "calibration-adopt"
UNDO: Final = "calibration-undo"
FULL, SPAN = "full", "span"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A calibration that could be adopted.

    Attributes:
        kind: `full` (five loads, three runs) or `span` (the scale that a check found).
        bench: Whose.
        started: When the sitting began that it comes from.
        calibration: Counts to newtons.
        record: A full calibration's record with its covariance; None of a span.
        check: The check that it was found in; its errors are the as-found ones.
    """

    kind: str
    bench: str
    started: datetime
    calibration: Calibration
    record: Mapping[str, Any] | None
    check: Mapping[str, Any] | None

    @property
    def stated(self) -> dict[str, Any]:
        """As headers and notes state it."""
        return {
            "polynomial": list(self.calibration.coefficients),
            "name": self.calibration.name,
            "date": self.calibration.date,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Adopted:
    """A decision that still holds.

    Attributes:
        at_s: When it was made (UTC, seconds since 1970).
        calibration: What was adopted.
        body: The whole note.
    """

    at_s: float
    calibration: Calibration
    body: Mapping[str, Any]


def proposed(store: "Store", *, bench: str) -> list[Proposed]:
    """Everything that could be adopted, oldest first."""
    sittings = {r.recording_id: r for r in store.recordings() if r.header.bench == bench}
    checks = {a.recording_id: a for a in store.answers("check") if a.bench == bench}
    made = [
        _full(stored, checks.get(stored.recording_id))
        for stored in store.answers("calibration")
        if stored.bench == bench
    ]
    spans = [_span(stored, sittings[number]) for number, stored in checks.items()]
    known = [*made, *(span for span in spans if span is not None)]
    return sorted(known, key=lambda one: (one.started, one.kind))


def _full(stored: "StoredAnswer", check: "StoredAnswer | None") -> Proposed:
    body = stored.body
    return Proposed(
        kind=FULL,
        bench=stored.bench,
        started=stored.started,
        calibration=Calibration(
            tuple(body["polynomial"]), name=body["name"], date=body["date"]
        ),
        record=body,
        check=None if check is None else check.body,
    )


def _span(stored: "StoredAnswer", sitting: "StoredRecording") -> Proposed | None:
    """The calibration of a check, scaled so that its loads read right."""
    check, known = stored.body, sitting.header.calibration
    error = check.get("span_error_pct")
    if known is None or error is None or check.get("incomplete") or check.get("problem"):
        return None
    slope = 1 + error / 100
    return Proposed(
        kind=SPAN,
        bench=stored.bench,
        started=stored.started,
        calibration=Calibration(
            tuple(c / slope for c in known.coefficients),
            name=f"span {stored.started:%Y-%m-%d}",
            date=f"{stored.started:%Y-%m-%d}",
        ),
        record=None,
        check=check,
    )


def chosen(
    some: Sequence[Proposed], *, name: str | None = None, kind: str | None = None
) -> Proposed:
    """The latest that fits, or the one of that name.

    Raises:
        CalibrationError: There is none.
    """
    fit = [p for p in some if kind in (None, p.kind) and name in (None, p.calibration.name)]
    if fit:
        return fit[-1]
    names = ", ".join(sorted({p.calibration.name for p in some})) or "none"
    raise CalibrationError(
        f"no {kind or 'such'} calibration {name or 'at all'} is known ({names}). "
        "Make one with 'tensionlog check --calibrate'."
    )


def adopt_note(
    one: Proposed, *, replaces: Mapping[str, Any] | None, as_left: Mapping[str, Any] | None
) -> dict[str, Any]:
    """The note that puts a calibration in force.

    Args:
        one: What is adopted.
        replaces: What was in force until now, as the set-up states it, or None.
        as_left: The same loads read with it, see `error_summary`; None: not read again.
    """
    found = None if one.check is None else error_summary(one.check)
    return {
        "note": ADOPT,
        "calibration": one.stated,
        "kind": one.kind,
        "from": {"bench": one.bench, "started": one.started.isoformat()},
        "replaces": None if replaces is None else dict(replaces),
        "as_found": found,
        "as_left": None if as_left is None else dict(as_left),
        "record": None if one.record is None else dict(one.record),
    }


def error_summary(check: Mapping[str, Any]) -> dict[str, Any]:
    """What a check says of a cell, short enough to stand in a note."""
    points = [
        {key: point.get(key) for key in ("reference_N", "error_N", "u_N")}
        for point in check.get("points", ())
    ]
    keys = ("verdict", "span_error_pct", "u_span_error_pct", "zero_N")
    return {**{key: check.get(key) for key in keys}, "points": points}


def read_again(reader: "RecordingReader", calibration: Calibration) -> dict[str, Any] | None:
    """The check of a recording as it would be with another calibration: as left."""
    from tensionlog.pipeline.replay import replay

    check = replay(reader, calibration=calibration, keep_traces=False).tests.check
    return None if check is None else error_summary(check)


def adopted(store: "Store", *, bench: str) -> list[Adopted]:
    """Decisions that hold, oldest first; the last one is in force."""
    standing: list[Adopted] = []
    for stored in store.notes():
        note = stored.note
        if stored.bench != bench or note.name not in (ADOPT, UNDO):
            continue
        if note.name == UNDO:
            standing = standing[:-1]
            continue
        stated = note.body.get("calibration")
        known = calibration_of(stated) if isinstance(stated, Mapping) else None
        if known is not None:
            standing.append(Adopted(at_s=note.at_s, calibration=known, body=note.body))
    return standing


def undo_note(last: Adopted) -> dict[str, Any]:
    """The note that takes the last adoption back."""
    return {
        "note": UNDO,
        "calibration": last.body.get("calibration"),
        "restores": last.body.get("replaces"),
    }
