"""The whole content as text, the same for the same content.

What is left out: the moments at which the schema's steps were applied, and columns that
are generated from others. A trace stands as the digest of its unpacked bytes, since two
builds of zlib may pack the same bytes differently.
"""

import json
import zlib
from collections.abc import Iterator
from hashlib import sha256

from sqlite_utils import Database

from tensionlog.store.migrations import migrations


def dump_lines(db: Database) -> Iterator[str]:
    """One line of JSON per step of the schema and per row, without its line end."""
    for step in migrations.applied(db):
        yield json.dumps(["step", step.name])
    for table in sorted(db.table_names()):
        if table != migrations.migrations_table:
            yield from _table_lines(db, table)


def _table_lines(db: Database, table: str) -> Iterator[str]:
    # table_info, unlike table_xinfo, leaves generated columns out.
    columns = [(row[1], row[5]) for row in db.execute(f"PRAGMA table_info({table})")]
    key = ", ".join(name for name, part in sorted(columns, key=lambda c: c[1]) if part)
    names = [name for name, _ in columns]
    for row in db.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY {key}"):
        named = {name: _plain(value) for name, value in zip(names, row, strict=True)}
        yield json.dumps([table, named], ensure_ascii=False)


def _plain(value: object) -> object:
    if isinstance(value, bytes):
        return {"sha256": sha256(zlib.decompress(value)).hexdigest()}
    return value
