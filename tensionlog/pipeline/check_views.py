"""A morning check from the database, with all that its page shows."""

from typing import TYPE_CHECKING, Any

from tensionlog.check.setup import tolerance_of
from tensionlog.errors import CalibrationError, StoreError
from tensionlog.pipeline.heads import recent_head
from tensionlog.pipeline.mornings import HEAD, Drift, Mark, drifts, marks
from tensionlog.report.check_view import Chart, ChartMark, CheckView
from tensionlog.report.drift_text import drift_sentence

if TYPE_CHECKING:
    from tensionlog.check.head import HeadResult
    from tensionlog.check.verdict import Tolerance
    from tensionlog.store import Store, StoredAnswer


def check_view(store: "Store", *, bench: str | None = None, unit: str = "lbf") -> CheckView:
    """The latest check of a bench.

    Args:
        store: The database.
        bench: Whose; None: that of the latest check of all.
        unit: Unit of orders and dial; `N` gives pounds, for no dial is in newtons.

    Raises:
        StoreError: There is no check.
    """
    stored = _latest(store, bench)
    sitting = next(r for r in store.recordings() if r.recording_id == stored.recording_id)
    head = recent_head(store, bench=stored.bench, at=stored.started)
    verdict = stored.body.get("verdict")
    dial_unit = "kgf" if unit == "kgf" else "lbf"
    calibration = sitting.header.calibration
    return CheckView(
        bench=stored.bench,
        at=stored.started,
        check=stored.body,
        head=head,
        head_pulls=_of(store, "head", stored),
        holds=_of(store, "hold", stored),
        tolerance=_tolerance(stored.body.get("made_with") or {}),
        charts=charts(store, bench=stored.bench),
        dial=_dial(head, verdict, dial_unit),
        unit=dial_unit,
        calibration=None if calibration is None else calibration.name or None,
    )


def charts(store: "Store", *, bench: str) -> tuple[Chart, ...]:
    """Zero, span and head over the mornings, with what was done to each."""
    done = marks(store, bench=bench)
    return tuple(
        Chart(
            began=drift.began,
            watched=drift.watched,
            says=drift_sentence(drift.answer()),
            marks=_touching(drift, done),
        )
        for drift in drifts(store, bench=bench)
    )


def _touching(drift: Drift, done: list[Mark]) -> tuple[ChartMark, ...]:
    """Recalibrations for the cell's series, services of the head for the head's."""
    is_head = drift.watched.series.name == HEAD
    return tuple(
        ChartMark(at=mark.at, what=mark.what, kind=mark.kind)
        for mark in done
        if (mark.kind == "service") == is_head and (not is_head or mark.clamp == HEAD)
    )


def _latest(store: "Store", bench: str | None) -> "StoredAnswer":
    made = [stored for stored in store.answers("check") if bench in (None, stored.bench)]
    if not made:
        whose = "" if bench is None else f" of the bench {bench!r}"
        raise StoreError(
            f"the database has no morning check{whose}. Make one with 'tensionlog check'."
        )
    return made[-1]


def _of(store: "Store", kind: str, stored: "StoredAnswer") -> tuple[dict[str, Any], ...]:
    return tuple(
        dict(one.body) for one in store.answers(kind) if one.recording_id == stored.recording_id
    )


def _dial(head: "HeadResult | None", verdict: str | None, unit: str) -> Any:
    if head is None or verdict != "good":
        return ()
    return head.dial_table(check_verdict=verdict, unit=unit)


def _tolerance(made_with: dict[str, Any]) -> "Tolerance":
    try:
        return tolerance_of(made_with)
    except CalibrationError:
        return tolerance_of({})  # then the check has no verdict, and says why
