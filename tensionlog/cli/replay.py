"""`tensionlog replay`: recordings through the very path that live samples take."""

import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tensionlog.cli import options
from tensionlog.cli.say import failed, json_line, progress, warn

if TYPE_CHECKING:
    from tensionlog.store import Store


@click.command(short_help="Read recordings again and answer what is in them.")
@options.recordings
@click.option("--db", type=click.Path(path_type=Path), help="Store what is found here.")
@options.as_json
def replay(files: Sequence[Path], db: Path | None, as_json: bool) -> None:
    """Read recordings again and answer what is in them.

    FILE is a recording (.rec or .rec.gz). Several are read in the order of their
    times; a bad one is an error, the others are answered all the same.
    """
    from tensionlog.cli.pull_line import recording_lines
    from tensionlog.pipeline.answers import answer
    from tensionlog.pipeline.replay import Replayed, replay_all

    good = True
    with (
        _opened(db) as store,
        progress(sum(map(options.size_of, files)), "reading") as bar,
    ):
        for item in replay_all(files, store=store, on_bytes=bar.update):
            if not isinstance(item, Replayed):
                failed(item)
                good = False
                continue
            for warning in item.warnings:
                warn(f"{item.path.name}: {warning.removeprefix(f'{item.path.name}: ')}")
            if as_json:
                more = [path.name for path in item.parts[1:]]
                said = answer(item.whole, name=item.path.name)
                json_line(said | {"continued_in": more} if more else said)
            else:
                click.echo(recording_lines(item.whole, name=item.path.name))
    if not good:
        sys.exit(1)


def _opened(db: Path | None) -> "AbstractContextManager[Store | None]":
    """The database, if one is wanted: loading what speaks to it takes half a second."""
    if db is None:
        return nullcontext()
    from tensionlog.store import Store

    return Store(db)
