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
