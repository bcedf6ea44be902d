"""`tensionlog rebuild`: the database again, from the recordings alone."""

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.say import failed, json_line, progress


@click.command(short_help="Make the database again from the recordings.")
@options.needed_db
@click.argument(
    "places", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@options.as_json
def rebuild(db: Path, places: Sequence[Path], as_json: bool) -> None:
    """Make the database again from the recordings in FOLDER..., whole.

    The old one stays in its place until the new one is verified, and is kept beside it
    if they differ.
    """
    from tensionlog.pipeline.rebuild import rebuild as build_anew
    from tensionlog.pipeline.rebuild import recordings_in

    paths = recordings_in(places)
    with progress(sum(map(options.size_of, paths)), "rebuilding") as bar:
        built = build_anew(db, paths, at=datetime.now(UTC), on_bytes=bar.update)
    for error in built.errors:
        failed(error)
    if as_json:
        json_line(
            {
                "db": str(db),
                "sittings": built.sittings,
                "pulls": built.pulls,
                "was_identical": built.was_identical,
                "old": None if built.old is None else str(built.old),
                "errors": len(built.errors),
            }
        )
    else:
        click.echo(f"{db}: {built.sittings} sittings, {built.pulls} pulls.")
        click.echo(_about_old(built.was_identical, built.old))
    if built.errors:
        sys.exit(1)


def _about_old(was_identical: bool, old: Path | None) -> str:
    if was_identical:
        return "The old one holds exactly the same and stays."
    return "There was no old one." if old is None else f"The old one is kept as {old}."
