"""`tensionlog drift`: has the cell or the head changed over the mornings?"""

from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.say import json_line
from tensionlog.errors import StoreError


@click.command(short_help="Has the cell or the head changed over the mornings?")
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option("--bench", "name", help="Which bench; else this one.")
@options.as_json
def drift(db: Path | None, name: str | None, as_json: bool) -> None:
    """Say of zero, span and head whether they have moved: since when, how far, how long left.

    The charts share one budget of false alarms, and start again after a recalibration.
    """
    from tensionlog.pipeline.answers import clean
    from tensionlog.pipeline.mornings import drifts
    from tensionlog.report.drift_text import drift_sentence
    from tensionlog.store import Store

    settings = load_settings()
    bench = name or settings.bench
    with Store(db or settings.database_path, must_exist=True) as store:
        found = [one.answer() for one in drifts(store, bench=bench)]
    if not found:
        raise StoreError(
            f"the database has no check of the bench {bench!r}. Make one: 'tensionlog check'."
        )
    if as_json:
        json_line(clean(found))
        return
    for one in found:
        click.echo(drift_sentence(one))
