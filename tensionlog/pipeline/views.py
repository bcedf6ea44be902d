"""The database to the record that a job's report is drawn from."""

from datetime import tzinfo
from math import hypot
from typing import TYPE_CHECKING

from tensionlog import __version__
from tensionlog.model.sitting import Found, Ledger
from tensionlog.plan import read_ticket
from tensionlog.report.view import JobView, LastCheck

if TYPE_CHECKING:
    from tensionlog.store import Store, StoredAnswer, StoredJob, StoredPull, StoredRecording

DAY_S = 86_400.0


def job_view(
    store: "Store", job: "StoredJob", *, unit: str = "N", zone: tzinfo | None = None
) -> JobView:
    """Gather what a report on `job` says.

    Args:
        store: The database that the job came from.
        job: One of its jobs.
        unit: Unit of the reader's choice.
        zone: Time zone of the workshop; None is that of this computer.
    """
    recording = next(r for r in store.recordings() if r.recording_id == job.recording_id)
    check = _last_check(store, recording)
    return JobView(
        recording=recording.name,
        recorded_on=recording.header.started.astimezone(zone),
        header=recording.header,
        job=read_ticket(job.run.raw),
        run=job.run,
        found=tuple(_found(store, pull) for pull in store.pulls_of(job)),
        ledger=recording.ledger or Ledger(),
        unit=unit,
        u_calibration_pct=None if check is None else _u_calibration_pct(check),
        last_check=None if check is None else _as_last_check(check, recording, zone),
        boot_starts_s=recording.boot_starts_s,
        made_with=f"tensionlog {__version__}",
    )


def _found(store: "Store", pull: "StoredPull") -> Found:
    return Found(
        number=pull.number,
        job_number=pull.job_number,
        bed=pull.bed,
        pull=pull.pull,
        trace=store.trace_of(pull),
        rule=pull.rule,
    )


def _last_check(store: "Store", recording: "StoredRecording") -> "StoredAnswer | None":
    """The latest morning check of the bench that the sitting could rely on."""
    header = recording.header
    earlier = [
        check
        for check in store.answers("check")
        if check.bench == header.bench and check.started <= header.started
    ]
    return earlier[-1] if earlier else None


def _u_calibration_pct(check: "StoredAnswer") -> float | None:
    """What the check leaves in doubt: an error that is not corrected counts as doubt too."""
    error, u = check.body.get("span_error_pct"), check.body.get("u_span_error_pct")
    return None if error is None or u is None else hypot(error, u)


def _as_last_check(
    check: "StoredAnswer", recording: "StoredRecording", zone: tzinfo | None
) -> LastCheck:
    age_s = (recording.header.started - check.started).total_seconds()
    return LastCheck(
        on=f"{check.started.astimezone(zone):%Y-%m-%d}",
        age_days=age_s / DAY_S,
        verdict=str(check.body.get("verdict") or "unfinished"),
        span_error_pct=check.body.get("span_error_pct"),
        u_span_error_pct=check.body.get("u_span_error_pct"),
    )
