"""Every pull as one row of a data frame, for statistics and for other programs."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from sqlite_utils import Database

if TYPE_CHECKING:
    import pandas as pd

TEXT: Final = "string"
"""Type of a text that may be missing."""
_REAL: Final = "float64"
_WHOLE: Final = "Int64"  # may hold "not known", unlike int64

COLUMNS: Final = {
    "bench": TEXT,
    "started_utc": TEXT,
    "recording": TEXT,
    "recording_id": _WHOLE,
    "calibration_id": _WHOLE,
    "rule": TEXT,
    "job_number": _WHOLE,
    "ref": TEXT,
    "bed": _WHOLE,
    "owner": TEXT,
    "operator": TEXT,
    "sport": TEXT,
    "frame": TEXT,
    "string_mains": TEXT,
    "string_crosses": TEXT,
    "reel_mains": TEXT,
    "reel_crosses": TEXT,
    "number": _WHOLE,
    "kind": TEXT,
    "position": TEXT,
    "held_position": TEXT,
    "void": "bool",
    "seen": "bool",
    "clamp_opened": TEXT,
    "clamp_shut": TEXT,
    "flags": TEXT,
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
    selected = ", ".join(f"{_SOURCES.get(name, name)} AS {name}" for name in COLUMNS)
    rows = db.execute(
        f"SELECT {selected} FROM pulls JOIN recordings USING (recording_id)"
        " LEFT JOIN jobs ON jobs.recording_id = pulls.recording_id"
        " AND jobs.number = pulls.job_number"
        " ORDER BY started_utc, bench, pulls.number"
    ).fetchall()
    return as_table(rows)


def as_table(rows: Iterable[Sequence[object]]) -> "pd.DataFrame":
    """Table of `COLUMNS` from `rows`, in which None is what is not known."""
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(COLUMNS), dtype=object).astype(COLUMNS)
