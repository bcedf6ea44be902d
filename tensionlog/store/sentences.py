"""Turn what SQLite reports about the disk or another program into a sentence."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from tensionlog.errors import DamagedStoreError, StoreError

_REBUILD: Final = "Rebuild it from the recordings."

# Primary result codes (the low byte) that the person at the bench can do something
# about. All others are bugs and keep their traceback.
_REMEDIES: Final = {
    sqlite3.SQLITE_PERM: "Check the rights of the file and of its folder.",
    sqlite3.SQLITE_BUSY: "Another program holds it: close that one and try again.",
    sqlite3.SQLITE_READONLY: "Check the rights of the file and of its folder.",
    sqlite3.SQLITE_IOERR: "Check the disk; the recordings are not affected.",
    sqlite3.SQLITE_CORRUPT: _REBUILD,
    sqlite3.SQLITE_FULL: "Free some space; the recordings are not affected.",
    sqlite3.SQLITE_CANTOPEN: "Check that the folder exists and may be written.",
    sqlite3.SQLITE_PROTOCOL: "Move it to a disk of this computer.",
    sqlite3.SQLITE_NOTADB: _REBUILD,
}


@contextmanager
def said_plainly(label: str) -> Iterator[None]:
    """Raise what the operator can mend as a `StoreError` about the database `label`.

    Raises:
        StoreError: The disk, the file or another program is in the way.
    """
    try:
        yield
    except sqlite3.Error as error:
        # The attribute is missing where Python itself, not SQLite, raised.
        code = getattr(error, "sqlite_errorcode", None)
        remedy = None if code is None else _REMEDIES.get(code & 0xFF)
        if remedy is None:
            raise
        kind = DamagedStoreError if remedy is _REBUILD else StoreError
        raise kind(f"{label}: {error}. {remedy}") from error
