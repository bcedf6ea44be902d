"""From any pull back to the masses: calibration, morning check, reference, doubt."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import TYPE_CHECKING, Any

from tensionlog.check.result import u_force_n
from tensionlog.errors import StoreError
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Calibration
from tensionlog.pipeline.calibrations import proposed

if TYPE_CHECKING:
    from tensionlog.pipeline.calibrations import Proposed
    from tensionlog.store import Store, StoredAnswer, StoredPull, StoredRecording


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """Where the force of one pull comes from, link by link.

    Attributes:
        recording: Name of the recording's file.
        started: When that sitting began.
        number: Number of the pull in it.
        pull: The pull.
        force_n: What the chain is about: the reading at release, else the top; newtons.
        calibration: What made newtons of counts, or None.
        origin: Where that calibration comes from, or None: it was typed.
        check: The last complete check before the sitting, or None.
        checked: When that was.
        parts_n: Parts of the uncertainty by name, newtons.
        u_n: Standard uncertainty of the force; None where no check says it.
        off_n: What the check says the cell reads too much at this force, not corrected.
    """

    recording: str
    started: datetime
    number: int
    pull: Pull
    force_n: float | None
    calibration: Calibration | None
    origin: "Proposed | None"
    check: Mapping[str, Any] | None
    checked: datetime | None
    parts_n: Mapping[str, float]
    u_n: float | None
    off_n: float | None

    def answer(self) -> dict[str, Any]:
        """The chain as plain values; what is not known is None."""
        calibration, origin, check = self.calibration, self.origin, self.check
        return {
            "recording": self.recording,
            "pull": self.number,
            "position": self.pull.position,
            "force_N": self.force_n,
            "u_N": self.u_n,
            "parts_N": dict(self.parts_n),
            "off_N": self.off_n,
            "calibration": None
            if calibration is None
            else {
                "name": calibration.name,
                "date": calibration.date,
                "polynomial": list(calibration.coefficients),
                "kind": None if origin is None else origin.kind,
                "made": None if origin is None else origin.started.isoformat(),
                "record": None if origin is None else origin.record,
            },
            "check": None
            if check is None or self.checked is None
            else {
                "started": self.checked.isoformat(),
                "verdict": check.get("verdict"),
                "span_error_pct": check.get("span_error_pct"),
                "u_span_error_pct": check.get("u_span_error_pct"),
                "range_N": check.get("range_N"),
                "budget_pct": check.get("budget_pct"),
                "points": check.get("points"),
            },
            "reference": None if check is None else check.get("made_with"),
        }


def chain_of(store: "Store", pull: "StoredPull") -> Chain:
    """Trace one pull back.

    Args:
        store: The database.
        pull: As the database has it.
    """
    sitting = next(r for r in store.recordings() if r.recording_id == pull.recording_id)
    header = sitting.header
    calibration = header.calibration
    stored = _check_before(store, sitting)
    force_n = None
    if pull.pull.unit == "N":
        force_n = pull.pull.top if pull.pull.release is None else pull.pull.release
    check = None if stored is None else stored.body
    parts_n = _parts_n(force_n, pull.pull, check)
    return Chain(
        recording=sitting.name,
        started=header.started,
        number=pull.number,
        pull=pull.pull,
        force_n=force_n,
        calibration=calibration,
        origin=None if calibration is None else _origin(store, sitting, calibration),
        check=check,
        checked=None if stored is None else stored.started,
        parts_n=parts_n,
        u_n=sqrt(sum(u**2 for u in parts_n.values())) if "cell" in parts_n else None,
        off_n=_off_n(force_n, check),
    )


def pull_of_job(store: "Store", *, position: str, ref: str | None) -> "StoredPull":
    """The pull that stands at a position, or of a number, of the latest job.

    Args:
        store: The database.
        position: Such as `R5`, or the pull's number.
        ref: The workshop's reference; None: the latest job.

    Raises:
        StoreError: There is no such job or pull.
    """
    job = store.job(ref=ref)
    if job is None:
        raise StoreError(
            f"there is no job {ref or 'at all'} in the database. Store it with 'tensionlog "
            "replay --db'."
        )
    pulls = store.pulls_of(job)
    found = [
        p
        for p in pulls
        if str(p.number) == position or (p.pull.position == position and not p.pull.void)
    ]
    if not found:
        known = ", ".join(p.pull.position for p in pulls[:8] if p.pull.position)
        raise StoreError(f"job {job.ref} has no pull {position!r}. It has {known} …")
    return found[-1]


def _check_before(store: "Store", sitting: "StoredRecording") -> "StoredAnswer | None":
    """The last complete check of the bench, not later than the sitting."""
    made = [
        stored
        for stored in store.answers("check")
        if stored.bench == sitting.header.bench
        and stored.started <= sitting.header.started
        and not stored.body.get("incomplete")
        and stored.body.get("u_span_error_pct") is not None
    ]
    return made[-1] if made else None


def _origin(
    store: "Store", sitting: "StoredRecording", calibration: Calibration
) -> "Proposed | None":
    """What the calibration was made from, told by its numbers."""
    some = proposed(store, bench=sitting.header.bench)
    same = [p for p in some if p.calibration.coefficients == calibration.coefficients]
    return same[-1] if same else None


def _parts_n(
    force_n: float | None, pull: Pull, check: Mapping[str, Any] | None
) -> dict[str, float]:
    parts: dict[str, float] = {}
    if pull.release_u is not None and pull.unit == "N":
        parts["reading"] = pull.release_u
    if force_n is None or check is None or not check.get("range_N"):
        return parts
    parts["cell"] = u_force_n(
        force_n=force_n,
        top_n=float(check["range_N"]),
        u_span_pct=float(check["u_span_error_pct"]),
        nonlinearity_pct=float(check.get("nonlinearity_pct") or 0.0),
    )
    return parts


def _off_n(force_n: float | None, check: Mapping[str, Any] | None) -> float | None:
    error = None if check is None else check.get("span_error_pct")
    if force_n is None or error is None:
        return None
    return force_n * float(error) / 100 / (1 + float(error) / 100)
