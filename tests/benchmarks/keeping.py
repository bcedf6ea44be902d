"""The store against bare SQL on the same rows; a rebuild; the size of each report."""

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.benchmarks.data import Scale
from tests.benchmarks.measured import Row, seconds


def rows(path: Path, scale: Scale) -> Iterator[Row]:
    """Cost of a row, of a rebuild, and bytes of every report on the job at `path`."""
    with TemporaryDirectory() as folder:
        yield from _pull_rows(path, scale, Path(folder))
        yield from _rebuild(path, scale, Path(folder))
        yield from _sizes(path, Path(folder))


def _pull_rows(path: Path, scale: Scale, folder: Path) -> Iterator[Row]:
    from tensionlog.pipeline.replay import replay
    from tensionlog.store import Store

    whole = replay(path)
    founds = [
        replace(whole.found[n % len(whole.found)], number=n + 1) for n in range(scale.rows)
    ]
    db = folder / "pulls.db"

    def store() -> None:
        db.unlink(missing_ok=True)
        with Store(db) as stored, stored.transaction():
            number = stored.begin(whole.header, name="job.rec", digest=None)
            for run in whole.runs:
                stored.add_job(number, run)
            stored.add_pulls(number, founds)

    store()
    schema, contents = _contents(db)
    bare = folder / "bare.db"

    def executemany() -> None:
        bare.unlink(missing_ok=True)
        _insert(bare, schema, contents)

    ours, theirs = seconds(store, executemany, times=scale.times)
    n = sum(len(found) for _, found in contents.values())
    yield Row(
        group="store", what=f"{scale.rows} pulls with their samples, {n} rows in all",
        figure=ours / n * 1e6, unit="µs a row", peer="bare executemany of the same rows",
        peer_figure=theirs / n * 1e6, note="ours packs the samples too",
    )  # fmt: skip


def _contents(db: Path) -> tuple[list[str], dict[str, tuple[str, list[Any]]]]:
    connection = sqlite3.connect(db)
    sql = (
        "SELECT name, sql FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    tables = dict(connection.execute(sql).fetchall())
    indexes = connection.execute(
        "SELECT sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    ).fetchall()
    contents = {}
    for name in tables:  # without the columns that SQLite works out by itself
        own = [column[1] for column in connection.execute(f'PRAGMA table_info("{name}")')]
        found = connection.execute(f'SELECT {", ".join(own)} FROM "{name}"').fetchall()
        if found:
            marks = ", ".join("?" * len(own))
            contents[name] = (
                f'INSERT INTO "{name}" ({", ".join(own)}) VALUES ({marks})',
                found,
            )
    connection.close()
    return [*tables.values(), *(index for (index,) in indexes)], contents


def _insert(db: Path, schema: list[str], contents: dict[str, tuple[str, list[Any]]]) -> None:
    connection = sqlite3.connect(db, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("BEGIN IMMEDIATE")
    for statement in schema:
        connection.execute(statement)
    for sql, found in contents.values():
        connection.executemany(sql, found)
    connection.execute("COMMIT")
    connection.close()


def _rebuild(path: Path, scale: Scale, folder: Path) -> Iterator[Row]:
    from tensionlog.pipeline.rebuild import rebuild
    from tensionlog.pipeline.replay import replay

    db, now = folder / "rebuilt.db", datetime(2026, 3, 2, tzinfo=UTC)
    ours, reading = seconds(
        lambda: rebuild(db, [path], at=now), lambda: replay(path), times=scale.times
    )
    yield Row(
        group="rebuild", what="a database from a job", figure=ours, unit="s",
        peer="reading the job", peer_figure=reading,
    )  # fmt: skip


def _sizes(path: Path, folder: Path) -> Iterator[Row]:
    import plotly.offline

    from tensionlog.pipeline.replay import replay_all
    from tensionlog.pipeline.views import job_view
    from tensionlog.report.job import job_page
    from tensionlog.report.picture import pull_picture
    from tensionlog.report.slip import slip_page
    from tensionlog.store import Store
    from tensionlog.store.export import write_csv, write_parquet

    with Store.memory() as store:
        list(replay_all([path], store=store))
        view = job_view(store, store.jobs()[-1])
        table = store.pulls_table()
    write_csv(table, folder / "pulls.csv")
    write_parquet(table, folder / "pulls.parquet")
    script = len(plotly.offline.get_plotlyjs().encode())
    recording = path.stat().st_size
    of = {
        "the job's page": (len(job_page(view).encode()), "plotly.js alone", script),
        "the slip": (len(slip_page(view).encode()), "the recording", recording),
        "one pull's picture": (
            len(pull_picture(view, str(table["number"].iloc[0])).encode()),
            "the recording",
            recording,
        ),
        "the pulls as CSV": ((folder / "pulls.csv").stat().st_size, "the recording", recording),
        "as Parquet": ((folder / "pulls.parquet").stat().st_size, "the recording", recording),
    }
    for what, (size, peer, other) in of.items():
        yield Row(
            group="size", what=what, figure=size / 1e3, unit="kB", peer=peer,
            peer_figure=other / 1e3,
        )  # fmt: skip
