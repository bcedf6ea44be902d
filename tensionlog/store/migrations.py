"""The schema as steps: a released step is never edited, only followed by another one."""

from typing import Final

from sqlite_utils import Database, Migrations

from tensionlog.store import calibration_schema, history_schema, schema

migrations = Migrations("tensionlog")


def _run(db: Database, sql: str) -> None:
    # Not `executescript`: inside a transaction it asks after every single character
    # whether the statement is complete, 0.2 s for this schema in place of 3 ms. No text
    # in it holds a semicolon.
    for statement in sql.split(";"):
        db.execute(statement)


@migrations()
def m001_recordings(db: Database) -> None:
    """Calibrations, recordings, faults and notes."""
    _run(db, schema.RECORDINGS)


@migrations()
def m002_jobs(db: Database) -> None:
    """Jobs and what was inspected."""
    _run(db, schema.JOBS)


@migrations()
def m003_pulls(db: Database) -> None:
    """Pulls, their flags and their traces."""
    _run(db, schema.PULLS)


@migrations()
def m004_answers(db: Database) -> None:
    """What checks, hold tests, head checks, turn and stiffness tests answered."""
    for name in schema.ANSWERS:
        _run(db, schema.answer_table(name))


@migrations()
def m005_boots(db: Database) -> None:
    """Starts of the device; a sitting stored before has none and is drawn as one start."""
    _run(db, schema.BOOTS)


@migrations()
def m006_history(db: Database) -> None:
    """Values day by day; sittings stored before have none until a rebuild."""
    _run(db, history_schema.HISTORY)


@migrations()
def m007_alerts(db: Database) -> None:
    """What the watch made of the history; it looks at every sitting anew."""
    _run(db, history_schema.ALERTS)


@migrations()
def m008_calibrations(db: Database) -> None:
    """Full calibrations; the loads of checks and what was decided, as rows."""
    _run(db, calibration_schema.CALIBRATIONS)


STEPS: Final = tuple(
    step.__name__
    for step in (
        m001_recordings,
        m002_jobs,
        m003_pulls,
        m004_answers,
        m005_boots,
        m006_history,
        m007_alerts,
        m008_calibrations,
    )
)
"""Names of all steps of this version, in order."""
