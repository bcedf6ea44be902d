"""`tensionlog export`: every pull as a row, for other programs; recordings for a bench."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line
from tensionlog.errors import UsageError


@click.command(short_help="Write pulls as CSV or Parquet, or jobs for a bench.")
@options.needed_db
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to: pulls.csv, pulls.parquet, or jobs.zip for another bench.",
)
@click.option("--job", "refs", multiple=True, help="With .zip: this job; more may be named.")
@click.option("--folder", type=click.Path(path_type=Path), help="With .zip: the recordings.")
@options.as_json
def export(
    db: Path, out: Path, refs: Sequence[str], folder: Path | None, as_json: bool
) -> None:
    """Write every pull with its job and its recording, a row each.

    The name of the file says which: .csv or .parquet. Column names carry their units.
    A .zip holds the recordings of the jobs named (else of all sittings in the database),
    which 'tensionlog import' adds to another bench's.
    """
    if out.suffix.lower() == ".zip":
        packed = _export_recordings(db, out, refs, folder)
        if as_json:
            json_line({"out": str(out), "recordings": packed})
        else:
            click.echo(f"{out}: {packed} recordings, read back and the same.")
        return
    from tensionlog.store import Store
    from tensionlog.store.export import write_csv, write_parquet

    writers = {".csv": write_csv, ".parquet": write_parquet}
    write = writers.get(out.suffix.lower())
    if write is None:
        raise UsageError(f"{out} says neither .csv nor .parquet nor .zip. Name it so.")
    with Store(db, must_exist=True) as store:
        table = store.pulls_table()
    write(table, out)
    if as_json:
        json_line({"out": str(out), "pulls": len(table), "columns": list(table.columns)})
    else:
        click.echo(f"{out}: {len(table)} pulls, {len(table.columns)} columns.")


def _export_recordings(db: Path, out: Path, refs: Sequence[str], folder: Path | None) -> int:
    from tensionlog.cli.bench_file import load_settings
    from tensionlog.pipeline.bundles import pack
    from tensionlog.pipeline.catch_up import recordings_of
    from tensionlog.pipeline.rebuild import recordings_in
    from tensionlog.store import Store

    there = recordings_in([folder or load_settings().recordings_folder])
    with Store(db, must_exist=True) as store:
        paths, lacking = recordings_of(store, there, refs=refs)
    if lacking or not paths:
        raise UsageError(
            f"no recording was found of {', '.join(lacking) or 'any sitting'}. "
            "Name their folder with --folder."
        )
    return pack(out, paths, made=datetime.now(UTC).isoformat())
