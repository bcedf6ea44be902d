"""Every pull as one row of a data frame, for statistics and for other programs."""

from typing import TYPE_CHECKING, Final

from sqlite_utils import Database

if TYPE_CHECKING:
    import pandas as pd

_TEXT: Final = "string"
_REAL: Final = "float64"
_WHOLE: Final = "Int64"  # may hold "not known", unlike int64

COLUMNS: Final = {
    "bench": _TEXT,
    "started_utc": _TEXT,
    "recording": _TEXT,
    "recording_id": _WHOLE,
    "calibration_id": _WHOLE,
    "rule": _TEXT,
    "job_number": _WHOLE,
    "ref": _TEXT,
    "bed": _WHOLE,
    "owner": _TEXT,
    "operator": _TEXT,
    "sport": _TEXT,
    "frame": _TEXT,
    "string_mains": _TEXT,
    "string_crosses": _TEXT,
    "reel_mains": _TEXT,
    "reel_crosses": _TEXT,
    "number": _WHOLE,
    "kind": _TEXT,
    "position": _TEXT,
    "held_position": _TEXT,
    "void": "bool",
    "seen": "bool",
    "clamp_opened": _TEXT,
    "clamp_shut": _TEXT,
    "flags": _TEXT,
    "start_s": _REAL,
    "top_s": _REAL,
    "release_s": _REAL,
    "let_off_s": _REAL,
    "target_n": _REAL,
    "peak_n": _REAL,
    "top_n": _REAL,
    "at_3s_n": _REAL,
    "expected_n": _REAL,
    "release_n": _REAL,
    "release_u_n": _REAL,
    "loss_n": _REAL,
    "loss_pct": _REAL,
    "drop_n": _REAL,
    "drop_u_n": _REAL,
    "at_least_lost_n": _REAL,
    "at_least_give_mm": _REAL,
    "held_n": _REAL,
    "idle_n": _REAL,
    "noise_n": _REAL,
    "peak_counts": _REAL,
    "top_counts": _REAL,
    "at_3s_counts": _REAL,
    "expected_counts": _REAL,
    "release_counts": _REAL,
    "release_u_counts": _REAL,
    "drop_counts": _REAL,
    "drop_u_counts": _REAL,
    "held_counts": _REAL,
    "idle_counts": _REAL,
    "noise_counts": _REAL,
    "relaxation_per_decade": _REAL,
}
"""Columns of the table in order, with the type of each; names carry units."""

_SOURCES: Final = {
    "recording": "recordings.name",
    "recording_id": "pulls.recording_id",
    "calibration_id": "pulls.calibration_id",
    "number": "pulls.number",
    "bed": "pulls.bed",
    "relaxation_per_decade": "pulls.relaxation_per_decade",
    # The inner query is there for the order: group_concat promises none by itself.
    "flags": (
        "(SELECT group_concat(flag, ' ') FROM (SELECT flag FROM pull_flags f"
        " WHERE f.recording_id = pulls.recording_id AND f.pull_number = pulls.number"
        " ORDER BY f.number))"
    ),
}


def pulls_table(db: Database) -> "pd.DataFrame":
    """Every pull with its job and its sitting, oldest first.

    Texts that are not known are missing values, and so are numbers (NaN); several flags
    stand in one text, a space between.
    """
    import pandas as pd

    selected = ", ".join(f"{_SOURCES.get(name, name)} AS {name}" for name in COLUMNS)
    rows = db.execute(
        f"SELECT {selected} FROM pulls JOIN recordings USING (recording_id)"
        " LEFT JOIN jobs ON jobs.recording_id = pulls.recording_id"
        " AND jobs.number = pulls.job_number"
        " ORDER BY started_utc, bench, pulls.number"
    ).fetchall()
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype=object).astype(COLUMNS)
