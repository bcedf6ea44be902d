"""`tensionlog trace`: from a pull back to the masses that it rests on."""

from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line


@click.command(short_help="Trace a pull back to calibration, check and masses.")
@options.needed_db
@click.option("--pull", required=True, help="Position such as R5, or the pull's number.")
@click.option("--job", "ref", help="The workshop's reference; without it, the latest job.")
@options.as_json
def trace(db: Path, pull: str, ref: str | None, as_json: bool) -> None:
    """Print what the force of a pull rests on: calibration, morning check, masses.

    With it stands the uncertainty of that force, part by part.
    """
    from tensionlog.pipeline.answers import clean
    from tensionlog.pipeline.chain import chain_of, pull_of_job
    from tensionlog.report.chain_text import chain_lines
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        chain = chain_of(store, pull_of_job(store, position=pull, ref=ref))
    answer = clean(chain.answer())
    if as_json:
        json_line(answer)
        return
    for line in chain_lines(answer):
        click.echo(line)
