"""A block of writes is whole or not at all."""

from contextlib import closing

import pytest
from sqlite_utils import Database

from tensionlog.store.transactions import insert, writing


@pytest.fixture
def db(tmp_path):
    with closing(Database(tmp_path / "a.db")) as fresh:
        fresh.conn.isolation_level = None
        fresh.execute("CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT) STRICT")
        yield fresh


def numbers(db):
    return [row[0] for row in db.execute("SELECT a FROM t ORDER BY a")]


def test_a_block_that_ends_well_is_kept(db, tmp_path):
    with writing(db):
        insert(db, "t", [{"a": 1, "b": "x"}, {"a": 2, "b": None}])
    with closing(Database(tmp_path / "a.db")) as other:
        assert numbers(other) == [1, 2]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_a_block_that_fails_leaves_nothing(db, error):
    with pytest.raises(error), writing(db):
        insert(db, "t", [{"a": 1, "b": "x"}])
        raise error

    assert numbers(db) == []
    assert not db.conn.in_transaction


def test_an_inner_block_that_fails_takes_only_itself_along(db):
    with writing(db):
        insert(db, "t", [{"a": 1, "b": "x"}])
        with pytest.raises(ValueError), writing(db):
            insert(db, "t", [{"a": 2, "b": "x"}])
            raise ValueError
        insert(db, "t", [{"a": 3, "b": "x"}])

    assert numbers(db) == [1, 3]


def test_a_row_that_fails_takes_its_fellows_along(db):
    with pytest.raises(Exception, match="UNIQUE"), writing(db):
        insert(db, "t", [{"a": 1, "b": "x"}, {"a": 1, "b": "y"}])

    assert numbers(db) == []


def test_the_lock_is_taken_before_the_first_read(db, tmp_path):
    """Else a write after a read is refused at once when another wrote in between."""
    with closing(Database(tmp_path / "a.db")) as other:
        other.conn.isolation_level = None
        other.execute("PRAGMA busy_timeout = 0")
        with writing(db):
            numbers(db)
            with pytest.raises(Exception, match="locked"), writing(other):
                raise AssertionError("must not get in")


def test_no_rows_are_no_work(db):
    with writing(db):
        insert(db, "t", [])

    assert numbers(db) == []
