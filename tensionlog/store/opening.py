"""Open a database, or refuse it and leave every byte as it was.

Refused: a network disk, a file that is not SQLite, an SQLite file of someone else, one
that a later version has written. The first three are told from the mount table and the
file's first 100 bytes, before SQLite is let near it.
"""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from sqlite_utils import Database

from tensionlog.errors import DamagedStoreError, StoreError
from tensionlog.store.filesystems import network_type
from tensionlog.store.glance import APPLICATION_ID
from tensionlog.store.migrations import STEPS, migrations
from tensionlog.store.sentences import said_plainly
from tensionlog.store.transactions import writing

_MAGIC: Final = b"SQLite format 3\0"
_HEADER_BYTES: Final = 100
_APPLICATION_ID_AT: Final = slice(68, 72)  # SQLite file format, section 1.3

# Given to `connect`, which sets it before the first statement that could meet a lock.
_BUSY_TIMEOUT_S: Final = 10.0

# The log is cut back to this after a checkpoint: a reader that was left open for an
# afternoon must not leave gigabytes behind.
_JOURNAL_LIMIT_BYTES: Final = 64 * 2**20


def open_file(path: Path, *, must_exist: bool) -> Database:
    """Open or make the database at `path` and bring it up to this version.

    Raises:
        StoreError: It is refused, and untouched; or the disk is in the way.
    """
    network = network_type(path)
    if network is not None:
        raise StoreError(
            f"{path} lies on a network disk ({network}), where a database breaks. "
            f"Choose a place on a disk of this computer."
        )
    with said_plainly(str(path)):
        if _is_ours(path, must_exist=must_exist):
            _refuse_later(path)
        return _prepared(sqlite3.connect(path, timeout=_BUSY_TIMEOUT_S, isolation_level=None))


def open_memory() -> Database:
    """Make an empty database that lives in memory."""
    return _prepared(sqlite3.connect(":memory:", isolation_level=None))


def _is_ours(path: Path, *, must_exist: bool) -> bool:
    """Whether there is a database of ours at `path`; False where there is nothing yet."""
    try:
        with path.open("rb") as file:
            header = file.read(_HEADER_BYTES)
    except FileNotFoundError:
        header = b""
    except OSError as error:
        raise StoreError(f"cannot read {path}: {error}. Choose another file.") from error
    if not header:
        if must_exist:
            raise StoreError(f"there is no database at {path}. Make one by a replay.")
        return False
    if not header.startswith(_MAGIC) or len(header) < _HEADER_BYTES:
        raise StoreError(f"{path} is not a database. Choose another file.")
    if int.from_bytes(header[_APPLICATION_ID_AT]) != APPLICATION_ID:
        raise StoreError(f"{path} is another program's database. Choose another file.")
    return True


def _refuse_later(path: Path) -> None:
    # Read-only: closing an ordinary connection may move the log into the file. Where
    # there is no log, a look must not leave an empty one behind either.
    has_log = path.with_name(f"{path.name}-wal").exists()
    uri = f"{path.absolute().as_uri()}?mode=ro{'' if has_log else '&immutable=1'}"
    with closing(sqlite3.connect(uri, uri=True, timeout=_BUSY_TIMEOUT_S)) as connection:
        refuse_unknown_steps(Database(connection, execute_plugins=False), str(path))


def refuse_unknown_steps(db: Database, label: str) -> None:
    """Refuse a database that has a step which this version does not know.

    Raises:
        StoreError: A later version has written it.
    """
    unknown = [step.name for step in migrations.applied(db) if step.name not in STEPS]
    if unknown:
        raise StoreError(
            f"{label} has step {unknown[-1]}, this version knows up to {STEPS[-1]}. "
            f"Upgrade tensionlog; nothing was changed."
        )


def _prepared(connection: sqlite3.Connection) -> Database:
    try:
        db = Database(connection, execute_plugins=False)
        _set_up(db)
        if migrations.pending(db):
            # The write lock first: two programs that open a new file at once must not
            # both find the same steps pending.
            with writing(db):
                _bring_up(db)
    except BaseException:
        connection.close()
        raise
    return db


def _bring_up(db: Database) -> None:
    try:
        migrations.apply(db)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_ERROR:
            raise  # the disk, or another program
        raise DamagedStoreError(
            f"the database does not hold what its own list of steps says: {error}. "
            "Rebuild it from the recordings."
        ) from error


def _set_up(db: Database) -> None:
    if not db.execute("PRAGMA application_id").fetchone()[0]:
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode not in ("wal", "memory"):
        raise StoreError(
            f"the disk allows no write-ahead log (it stays at {mode!r}). "
            f"Choose a place on a disk of this computer."
        )
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.conn.create_function("casefold", 1, _casefold, deterministic=True)
    db.execute(f"PRAGMA journal_size_limit = {_JOURNAL_LIMIT_BYTES}")


def _casefold(text: str | None) -> str | None:
    # SQLite's own lower() knows only ASCII; names of people do not keep to it.
    return None if text is None else text.casefold()
