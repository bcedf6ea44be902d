"""Writes that are whole or not at all."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlite_utils import Database


@contextmanager
def writing(db: Database) -> Iterator[None]:
    """Do what stands inside whole, or leave the database as it was.

    The outermost block takes the write lock at its start: a transaction that reads
    first and writes later is refused at once when another has written in between, and
    no waiting helps (SQLite, "Isolation In SQLite"). Inside another block a failure
    undoes this block alone, even if the outer one goes on.
    """
    if db.conn.in_transaction:
        with db.atomic():
            yield
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        db.rollback()
        raise


def insert(
    db: Database, table: str, rows: Sequence[Mapping[str, Any]], *, then: str = ""
) -> None:
    """Add `rows`, which all have the columns of the first, inside a `writing` block.

    Args:
        db: The database.
        table: Where to.
        rows: What; nothing happens if it is empty.
        then: SQL after the values, for what to do about a row that is there already.
    """
    if rows:
        marks = ", ".join(f":{name}" for name in rows[0])
        sql = f"INSERT INTO {table} ({', '.join(rows[0])}) VALUES ({marks}) {then}"
        db.conn.executemany(sql, rows)
