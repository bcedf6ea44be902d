"""What the operator can mend is a sentence; what is a bug keeps its traceback."""

import sqlite3

import pytest

from tensionlog.errors import StoreError
from tensionlog.store.sentences import said_plainly


def failure(code: int | None, text: str = "it broke") -> sqlite3.OperationalError:
    error = sqlite3.OperationalError(text)
    if code is not None:
        error.sqlite_errorcode = code
    return error


@pytest.mark.parametrize(
    ("code", "remedy"),
    [
        (sqlite3.SQLITE_FULL, "Free some space"),
        (sqlite3.SQLITE_BUSY, "Another program"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "Another program"),
        (sqlite3.SQLITE_IOERR_FSYNC, "Check the disk"),
        (sqlite3.SQLITE_READONLY_DIRECTORY, "Check the rights"),
        (sqlite3.SQLITE_CORRUPT_INDEX, "Rebuild it"),
        (sqlite3.SQLITE_NOTADB, "Rebuild it"),
        (sqlite3.SQLITE_CANTOPEN, "Check that the folder"),
    ],
)
def test_each_mishap_says_what_to_do(code, remedy):
    with (
        pytest.raises(StoreError, match=f"^bench.db: it broke. {remedy}"),
        said_plainly("bench.db"),
    ):
        raise failure(code)


def test_the_first_cause_is_kept():
    first = failure(sqlite3.SQLITE_FULL)

    with pytest.raises(StoreError) as caught, said_plainly("bench.db"):
        raise first

    assert caught.value.__cause__ is first


@pytest.mark.parametrize("code", [None, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT])
def test_a_bug_stays_what_it_is(code):
    with (
        pytest.raises(sqlite3.OperationalError, match="no such table"),
        said_plainly("bench.db"),
    ):
        raise failure(code, "no such table")


def test_other_errors_pass():
    with pytest.raises(ValueError, match="mine"), said_plainly("bench.db"):
        raise ValueError("mine")
