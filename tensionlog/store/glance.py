"""How a bench stands, as the watch left it: read without anything heavy.

`status` is asked often, by scripts too, and must answer before a hand is back at the
machine; opening the database through its library takes longer than reading it.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Final

APPLICATION_ID: Final = int.from_bytes(b"tnsl")
"""Stands in the header of every database of ours, so that it can be told from others."""


def glance(path: Path, bench: str | None) -> dict[str, Any] | None:
    """What the watch kept about a bench, or None where it is not up to date.

    Args:
        path: A database.
        bench: Which bench; None for the one of the latest sitting.
    """
    if not path.is_file():
        return None
    # Where there is no log, a look must not leave an empty one behind.
    has_log = path.with_name(f"{path.name}-wal").exists()
    uri = f"{path.absolute().as_uri()}?mode=ro{'' if has_log else '&immutable=1'}"
    try:
        with closing(sqlite3.connect(uri, uri=True, timeout=1.0)) as db:
            return _read(db, bench)
    except sqlite3.Error:
        return None  # the long way says what is wrong


def _read(db: sqlite3.Connection, bench: str | None) -> dict[str, Any] | None:
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        return None
    if bench is None:
        latest = db.execute(
            "SELECT bench FROM recordings ORDER BY started_utc DESC, bench DESC LIMIT 1"
        ).fetchone()
        if latest is None:
            return None
        bench = latest[0]
    behind = db.execute(
        "SELECT 1 FROM recordings WHERE bench = ? AND watched = 0 LIMIT 1", [bench]
    ).fetchone()
    kept = db.execute("SELECT answer FROM glances WHERE bench = ?", [bench]).fetchone()
    found: dict[str, Any] | None = None if behind or not kept else json.loads(kept[0])
    return found
