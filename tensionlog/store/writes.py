"""Every write: what a sitting is told in, and how an earlier version of it is replaced.

All numbers of rows come from what is stored, none from the order of storing, so that the
same sittings give the same database however they come in.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlite_utils import Database

from tensionlog.errors import StoreError
from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.store import columns, traces
from tensionlog.store.columns import checked
from tensionlog.store.history import unwatch
from tensionlog.store.jsontext import exact_json_text
from tensionlog.store.schema import answer_table_of
from tensionlog.store.transactions import insert, writing


def begin(db: Database, header: Header, *, name: str, digest: str | None) -> int:
    """Begin a sitting; an earlier version of it goes, with all that hung on it."""
    number = columns.recording_id(header.bench, header.started)
    row = checked(
        columns.header_row(header)
        | {"recording_id": number, "name": name, "sha256": digest, "calibration_id": None}
    )
    with writing(db):
        _refuse_other_sitting(db, row)
        unwatch(db, row["bench"], row["started_utc"])
        db.execute("DELETE FROM recordings WHERE recording_id = ?", [number])
        if header.calibration is not None:
            row["calibration_id"] = _add_calibration(db, header.calibration)
        insert(db, "recordings", [row])
        _drop_unused_calibrations(db)
    return number


def _refuse_other_sitting(db: Database, row: Mapping[str, Any]) -> None:
    sql = "SELECT bench, started_utc FROM recordings WHERE recording_id = ?"
    for there in db.query(sql, [row["recording_id"]]):
        if (there["bench"], there["started_utc"]) != (row["bench"], row["started_utc"]):
            raise StoreError(
                f"{row['name']} gets the number of the sitting {there['bench']} "
                f"{there['started_utc']}. Give the bench another name in one of the two."
            )


def _add_calibration(db: Database, calibration: Calibration) -> int:
    # Two calibrations with one number: a chance of 6e-11 among a thousand of them.
    number = columns.calibration_id(calibration)
    row = checked(columns.calibration_row(calibration) | {"calibration_id": number})
    insert(db, "calibrations", [row], then="ON CONFLICT DO NOTHING")
    return number


def _drop_unused_calibrations(db: Database) -> None:
    db.execute(
        "DELETE FROM calibrations WHERE calibration_id NOT IN"
        " (SELECT calibration_id FROM recordings WHERE calibration_id IS NOT NULL)"
    )


def forget(db: Database, recording_id: int) -> None:
    """Remove a sitting with all that hangs on it."""
    with writing(db):
        sql = "SELECT bench, started_utc FROM recordings WHERE recording_id = ?"
        for there in list(db.query(sql, [recording_id])):
            unwatch(db, there["bench"], there["started_utc"])
        db.execute("DELETE FROM recordings WHERE recording_id = ?", [recording_id])
        _drop_unused_calibrations(db)


def forget_all(db: Database) -> None:
    """Remove every sitting."""
    with writing(db):
        db.execute("DELETE FROM recordings")
        db.execute("DELETE FROM glances")
        _drop_unused_calibrations(db)


def add_job(db: Database, recording_id: int, run: JobRun) -> None:
    """Add a job, or say it anew."""
    row = checked({"recording_id": recording_id, **columns.run_row(run)})
    anew = ", ".join(f"{name} = excluded.{name}" for name in row)
    key = (recording_id, run.number)
    with writing(db):
        then = f"ON CONFLICT (recording_id, number) DO UPDATE SET {anew}"
        insert(db, "jobs", [row], then=then)
        db.execute("DELETE FROM inspections WHERE (recording_id, job_number) = (?, ?)", key)
        insert(
            db,
            "inspections",
            [
                checked(
                    {
                        "recording_id": recording_id,
                        "job_number": run.number,
                        "number": number,
                        "item": item,
                        "answer": answer,
                    }
                )
                for number, (item, answer) in enumerate(run.inspections, start=1)
            ],
        )


def add_pulls(db: Database, recording_id: int, founds: Sequence[Found]) -> None:
    """Add pulls, or say them anew; of two with one number the later holds."""
    last = {found.number: found for found in founds}.values()
    with writing(db):
        calibration = _calibration_of(db, recording_id)
        known = {"recording_id": recording_id, "calibration_id": calibration}
        db.conn.executemany(
            "DELETE FROM pulls WHERE (recording_id, number) = (?, ?)",
            [(recording_id, found.number) for found in last],
        )
        insert(db, "pulls", [checked(known | columns.pull_row(found)) for found in last])
        insert(db, "pull_flags", _flag_rows(recording_id, last))
        insert(
            db,
            "traces",
            [
                {
                    "recording_id": recording_id,
                    "pull_number": found.number,
                    "samples_zlib": traces.encode(found.trace),
                }
                for found in last
            ],
        )


def _calibration_of(db: Database, recording_id: int) -> int | None:
    sql = "SELECT calibration_id FROM recordings WHERE recording_id = ?"
    row = db.execute(sql, [recording_id]).fetchone()
    if row is None:
        raise ValueError(f"there is no recording {recording_id!r}: call begin first")
    return None if row[0] is None else int(row[0])


def _flag_rows(recording_id: int, founds: Iterable[Found]) -> list[columns.Row]:
    return [
        {
            "recording_id": recording_id,
            "pull_number": found.number,
            "number": number,
            "flag": flag,
        }
        for found in founds
        for number, flag in enumerate(found.pull.flags, start=1)
    ]


def add_notes(db: Database, recording_id: int, notes: Sequence[Note]) -> None:
    """Add notes after those that are there."""
    with writing(db):
        first = _next_number(db, "notes", recording_id)
        insert(
            db,
            "notes",
            [
                checked(
                    {"recording_id": recording_id, "number": number, **columns.note_row(note)}
                )
                for number, note in enumerate(notes, start=first)
            ],
        )


def add_answer(
    db: Database,
    recording_id: int,
    kind: str,
    answer: Mapping[str, Any] | Sequence[Mapping[str, Any]],
) -> None:
    """Add an answer, or several of one kind, after those that are there."""
    table = answer_table_of(kind)
    bodies = [answer] if isinstance(answer, Mapping) else list(answer)
    with writing(db):
        first = _next_number(db, table, recording_id)
        insert(
            db,
            table,
            [
                {
                    "recording_id": recording_id,
                    "number": number,
                    "answer": exact_json_text(body),
                }
                for number, body in enumerate(bodies, start=first)
            ],
        )


def _next_number(db: Database, table: str, recording_id: int) -> int:
    sql = f"SELECT coalesce(max(number), 0) + 1 FROM {table} WHERE recording_id = ?"
    return int(db.execute(sql, [recording_id]).fetchone()[0])


def finish(
    db: Database,
    recording_id: int,
    ledger: Ledger,
    *,
    digest: str | None,
    drift_ppm: float | None,
    boot_starts_s: Sequence[float],
) -> None:
    """Say what was lost on the way; a digest given here or to `begin` is kept."""
    row = checked(columns.ledger_row(ledger) | {"drift_ppm": drift_ppm})
    anew = ", ".join(f"{name} = :{name}" for name in row)
    with writing(db):
        _calibration_of(db, recording_id)  # refuses a number that was never begun
        db.execute(
            f"UPDATE recordings SET {anew}, sha256 = coalesce(:digest, sha256)"
            " WHERE recording_id = :recording_id",
            {**row, "digest": digest, "recording_id": recording_id},
        )
        db.execute("DELETE FROM faults WHERE recording_id = ?", [recording_id])
        insert(
            db,
            "faults",
            [
                checked({"recording_id": recording_id, "fault": fault, "times": times})
                for fault, times in ledger.faults.items()
            ],
        )
        db.execute("DELETE FROM boots WHERE recording_id = ?", [recording_id])
        insert(
            db,
            "boots",
            [
                checked({"recording_id": recording_id, "boot": boot, "start_s": start_s})
                for boot, start_s in enumerate(boot_starts_s)
            ],
        )
