"""Options that several commands share."""

from pathlib import Path

import click

as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, a line each.")

unit = click.option(
    "--unit",
    type=click.Choice(["lbf", "kgf", "N"]),
    default="N",
    show_default=True,
    help="Unit of the reader's choice.",
)

needed_db = click.option(
    "--db", required=True, type=click.Path(path_type=Path), help="The database."
)

own_db = click.option(
    "--db", type=click.Path(path_type=Path), help="The database; else the bench's."
)

own_unit = click.option(
    "--unit",
    type=click.Choice(["lbf", "kgf", "N"]),
    help="Unit of the reader's choice; else the bench's.",
)

recordings = click.argument(
    "files",
    metavar="FILE...",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path),
)


def size_of(path: Path) -> int:
    """Bytes of a file, 0 where there is none."""
    return path.stat().st_size if path.is_file() else 0


def database(db: Path | None) -> Path:
    """The database that is meant: the one named, or the bench's own."""
    if db is not None:
        return db
    from tensionlog.cli.bench_file import load_settings

    return load_settings().database_path
