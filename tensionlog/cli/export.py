"""`tensionlog export`: every pull as a row, for other programs."""

from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line
from tensionlog.errors import UsageError


@click.command(short_help="Write every pull as CSV or Parquet.")
@options.needed_db
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to, such as pulls.csv or pulls.parquet.",
)
@options.as_json
def export(db: Path, out: Path, as_json: bool) -> None:
    """Write every pull with its job and its recording, a row each.

    The name of the file says which: .csv or .parquet. Column names carry their units.
    """
    from tensionlog.store import Store
    from tensionlog.store.export import write_csv, write_parquet

    writers = {".csv": write_csv, ".parquet": write_parquet}
    write = writers.get(out.suffix.lower())
    if write is None:
        raise UsageError(f"{out} says neither .csv nor .parquet. Name it so.")
    with Store(db, must_exist=True) as store:
        table = store.pulls_table()
    write(table, out)
    if as_json:
        json_line({"out": str(out), "pulls": len(table), "columns": list(table.columns)})
    else:
        click.echo(f"{out}: {len(table)} pulls, {len(table.columns)} columns.")
