"""Copies that are whole, checks, and putting a damaged database out of the way."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

from sqlite_utils import Database

from tensionlog.errors import StoreError
from tensionlog.store.sentences import said_plainly

_COMPANIONS: Final = ("-wal", "-shm")


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let `write` make a file beside `path`, then put it in the place of `path`.

    Whatever happens, `path` is the old file or the new one, never half of it.
    """
    partial = path.with_name(f"{path.name}.part")
    try:
        write(partial)
        _sync(partial)
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)
    _sync_folder(path.parent)


def _sync(path: Path) -> None:
    # r+: Windows syncs only what is open for writing.
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    # A new name lasts through a power cut only once its folder is on the disk as well.
    # Windows cannot open a folder.
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def backup(db: Database, path: Path) -> None:
    """Copy the database to `path`, also while another program writes to it.

    Copying the file alone would leave out what still stands in its log.

    Raises:
        StoreError: `path` is in use as a database, or cannot be written.
    """
    if any(path.with_name(path.name + end).exists() for end in _COMPANIONS):
        raise StoreError(f"{path} is a database in use. Choose another name for the copy.")

    def copy(partial: Path) -> None:
        with said_plainly(str(path)), closing(sqlite3.connect(partial)) as target:
            db.conn.backup(target)

    try:
        write_whole(path, copy)
    except OSError as error:
        raise StoreError(
            f"cannot write {path}: {error.strerror or error}. Choose another place."
        ) from error


def compact(db: Database) -> None:
    """Write the file anew: deleted rows leave their bytes in free pages and in the log."""
    db.execute("VACUUM")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def problems(db: Database) -> list[str]:
    """What SQLite finds wrong with the file, a line each; empty where it is sound.

    It has no check sums of its own: a changed digit inside a row passes. A rebuild from
    the recordings is the only full proof.
    """
    found = [str(row[0]) for row in db.execute("PRAGMA quick_check")] + _torn_end(db)
    broken = [
        f"row {row[1]} of {row[0]} points to a missing row of {row[2]}"
        for row in db.execute("PRAGMA foreign_key_check")
    ]
    return [line for line in found if line != "ok"] + broken


def _torn_end(db: Database) -> list[str]:
    # SQLite reads a page that is cut short as if zeros followed.
    name = db.execute("PRAGMA database_list").fetchone()[2]
    size = Path(name).stat().st_size if name else 0
    over = size % int(db.execute("PRAGMA page_size").fetchone()[0])
    return [f"the file ends {over} bytes into a page"] if over else []


def set_aside(path: Path, *, suffix: str) -> Path:
    """Rename the database at `path`, log and all, so that a new one can be built there.

    Args:
        path: A database that nobody has open.
        suffix: What to add to its name, such as `.damaged-2026-03-02`.

    Returns:
        The new path.
    """
    aside = path.with_name(path.name + suffix)
    if aside.exists():
        raise StoreError(f"{aside} is there already. Move it away first.")
    for end in ("", *_COMPANIONS):
        companion = path.with_name(path.name + end)
        if companion.exists():
            companion.rename(aside.with_name(aside.name + end))
    return aside
