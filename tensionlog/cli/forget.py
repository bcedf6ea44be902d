"""`tensionlog forget`: erase one player's personal data."""

import sys
from contextlib import nullcontext
from datetime import UTC, datetime
from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.backup import db_option, folder_option
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.say import failed, json_line, one_line
from tensionlog.errors import UsageError


@click.command(short_help="Erase one player's personal data.")
@click.option("--owner", required=True, help="The player, as the tickets name them.")
@folder_option
@db_option
@click.option("--yes", is_flag=True, help="Do not ask.")
@options.as_json
def forget(owner: str, folder: Path | None, db: Path | None, yes: bool, as_json: bool) -> None:
    """Erase a player's name and what leads to it from recordings and database.

    What was measured stays and belongs to nobody. It says where copies may still be:
    backups, exports and pages are not touched.
    """
    from tensionlog.pipeline.forget import forget as erase
    from tensionlog.pipeline.forget import recordings_with
    from tensionlog.pipeline.rebuild import recordings_in
    from tensionlog.store import Store

    if not owner.strip():
        raise UsageError("whose data? Give --owner with the name as it stands in the ticket.")
    settings = load_settings()
    folder, db = folder or settings.recordings_folder, db or settings.database_path
    paths = recordings_in([folder])
    concerned = recordings_with(owner, paths)
    if not concerned:
        raise UsageError(f"no recording in {folder} names {owner!r}. Nothing was changed.")
    names = ", ".join(one_line(path.name) for path in concerned)
    click.echo(f"{len(concerned)} recordings name {one_line(owner)}: {names}.", err=True)
    if not yes:
        click.confirm("Erase the name there, for good?", abort=True, err=True)
    with Store(db, must_exist=True) if db.exists() else nullcontext() as store:
        done = erase(
            owner,
            paths,
            store=store,
            at=datetime.now(UTC).isoformat(),
            places=[folder, db.parent],
        )
    for error in done.errors:
        failed(error)
    if as_json:
        json_line(
            {
                "recordings": [str(path) for path in done.recordings],
                "notes": done.notes,
                "stored": done.stored,
                "still_in": [str(path) for path in done.still_in],
            }
        )
    else:
        click.echo(f"Erased from {done.notes} notes in {len(done.recordings)} recordings.")
        click.echo(f"{done.stored} sittings were stored anew in {db}.")
        for path in done.still_in:
            click.echo(f"May still hold it: {one_line(str(path))}")
        click.echo("Backups, exports and pages kept elsewhere are yours to erase.")
    if done.errors:
        sys.exit(1)
