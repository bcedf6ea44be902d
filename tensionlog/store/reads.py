"""Every question that is asked of the database, answered in nouns."""

import json
from collections import defaultdict
from collections.abc import Sequence
from typing import Any, Final

from sqlite_utils import Database

from tensionlog.model.pull import Trace
from tensionlog.store import columns, traces
from tensionlog.store.rows import (
    StoredAnswer,
    StoredJob,
    StoredNote,
    StoredPull,
    StoredRecording,
)
from tensionlog.store.schema import answer_table_of

JOB_FILTERS: Final = {
    "ref": ("ref",),
    "owner": ("owner",),
    "frame": ("frame",),
    "string": ("string_mains", "string_crosses"),
    "reel": ("reel_mains", "reel_crosses"),
    "operator": ("operator",),
    "sport": ("sport",),
    "bench": ("bench",),
}
"""What jobs can be searched for, and the columns in which to look."""

_JOBS: Final = (
    "SELECT jobs.*, bench, started_utc FROM jobs JOIN recordings USING (recording_id)"
)
_IN_TIME: Final = "ORDER BY started_utc, bench"


def recordings(db: Database) -> list[StoredRecording]:
    """Every sitting, oldest first."""
    faults: dict[int, dict[str, int]] = defaultdict(dict)
    for row in db.query("SELECT recording_id, fault, times FROM faults ORDER BY fault"):
        faults[row["recording_id"]][row["fault"]] = row["times"]
    boots: dict[int, list[float]] = defaultdict(list)
    for row in db.query("SELECT recording_id, start_s FROM boots ORDER BY boot"):
        boots[row["recording_id"]].append(row["start_s"])
    sql = (
        "SELECT r.*, c.coefficients, c.name AS calibration_name, c.made_on"
        " FROM recordings r LEFT JOIN calibrations c USING (calibration_id)"
    )
    return [
        StoredRecording(
            recording_id=row["recording_id"],
            header=columns.header_of(row),
            name=row["name"],
            digest=row["sha256"],
            ledger=columns.ledger_of(row, faults[row["recording_id"]]),
            drift_ppm=row["drift_ppm"],
            boot_starts_s=tuple(boots[row["recording_id"]]),
        )
        for row in db.query(f"{sql} {_IN_TIME}")
    ]


def jobs(db: Database, wanted: dict[str, str]) -> list[StoredJob]:
    """Jobs that fit every one of `wanted`, oldest first.

    Args:
        db: The database.
        wanted: Keys of `JOB_FILTERS` to a piece of the text looked for, whatever its
            case; `ref` and `bench` must fit whole.
    """
    conditions = ["1"]
    values: list[str] = []
    for name, piece in wanted.items():
        test = "{} = ?" if name in ("ref", "bench") else "instr(casefold({}), casefold(?))"
        conditions.append(" OR ".join(test.format(column) for column in JOB_FILTERS[name]))
        values.extend(piece for _ in JOB_FILTERS[name])
    where = " AND ".join(f"({condition})" for condition in conditions)
    return _jobs(db, f"WHERE {where} {_IN_TIME}, number", values)


def job(
    db: Database, *, recording_id: int | None, number: int | None, ref: str | None
) -> StoredJob | None:
    """The latest job that fits what is given."""
    found = _jobs(
        db,
        "WHERE (:recording IS NULL OR recording_id = :recording)"
        " AND (:number IS NULL OR number = :number) AND (:ref IS NULL OR ref = :ref)"
        " ORDER BY started_utc DESC, bench DESC, number DESC LIMIT 1",
        {"recording": recording_id, "number": number, "ref": ref},
    )
    return found[0] if found else None


def _jobs(
    db: Database, tail: str, values: Sequence[object] | dict[str, object]
) -> list[StoredJob]:
    return [
        StoredJob(
            recording_id=row["recording_id"],
            bench=row["bench"],
            started=columns.utc_of(row["started_utc"]),
            ref=row["ref"],
            run=columns.run_of(row, _inspections(db, row["recording_id"], row["number"])),
        )
        for row in db.query(f"{_JOBS} {tail}", values)
    ]


def _inspections(
    db: Database, recording_id: int, job_number: int
) -> tuple[tuple[str, str], ...]:
    rows = db.query(
        "SELECT item, answer FROM inspections WHERE (recording_id, job_number) = (?, ?)"
        " ORDER BY number",
        [recording_id, job_number],
    )
    return tuple((row["item"], row["answer"]) for row in rows)


def pulls(db: Database, recording_id: int, job_number: int | None) -> list[StoredPull]:
    """Pulls of one recording in order, of one of its jobs where a number is given."""
    flags: dict[int, list[str]] = defaultdict(list)
    for row in db.query(
        "SELECT pull_number, flag FROM pull_flags WHERE recording_id = ? ORDER BY number",
        [recording_id],
    ):
        flags[row["pull_number"]].append(row["flag"])
    rows = db.query(
        "SELECT * FROM pulls WHERE recording_id = :recording"
        " AND (:job IS NULL OR job_number = :job) ORDER BY number",
        {"recording": recording_id, "job": job_number},
    )
    return [_stored_pull(row, tuple(flags[row["number"]])) for row in rows]


def _stored_pull(row: dict[str, Any], flags: tuple[str, ...]) -> StoredPull:
    return StoredPull(
        recording_id=row["recording_id"],
        number=row["number"],
        job_number=row["job_number"],
        bed=row["bed"],
        pull=columns.pull_of(row, flags),
        rule=row["rule"],
        calibration_id=row["calibration_id"],
    )


def trace(db: Database, recording_id: int, pull_number: int) -> Trace:
    """The samples of one pull."""
    blob = db.execute(
        "SELECT samples_zlib FROM traces WHERE (recording_id, pull_number) = (?, ?)",
        [recording_id, pull_number],
    ).fetchone()
    if blob is None:
        raise ValueError(f"recording {recording_id!r} has no pull {pull_number!r}")
    return traces.decode(blob[0])


def notes(db: Database, name: str | None) -> list[StoredNote]:
    """Notes in the order of time, of one name where one is given."""
    rows = db.query(
        "SELECT notes.*, bench FROM notes JOIN recordings USING (recording_id)"
        " WHERE notes.name = coalesce(?, notes.name)"
        " ORDER BY at_utc_s, started_utc, bench, number",
        [name],
    )
    return [
        StoredNote(
            recording_id=row["recording_id"],
            bench=row["bench"],
            number=row["number"],
            note=columns.note_of(row),
        )
        for row in rows
    ]


def answers(db: Database, kind: str) -> list[StoredAnswer]:
    """Answers of one kind, oldest first."""
    rows = db.query(
        f"SELECT recording_id, bench, started_utc, number, answer FROM {answer_table_of(kind)}"
        f" JOIN recordings USING (recording_id) {_IN_TIME}, number"
    )
    return [
        StoredAnswer(
            recording_id=row["recording_id"],
            bench=row["bench"],
            started=columns.utc_of(row["started_utc"]),
            number=row["number"],
            body=json.loads(row["answer"]),
        )
        for row in rows
    ]
