"""`tensionlog return`: a racket came back; what did the log see of it?"""

from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.notes import keep_notes
from tensionlog.cli.say import json_line
from tensionlog.errors import UsageError


@click.command("return", short_help="A racket came back: its job, its clamps that day.")
@click.argument("ref")
@click.option("--broke", help="String that broke, such as R5 or X12.")
@click.option("--felt", help="What the player says, such as soft.")
@click.option("--bed", type=click.IntRange(min=1), help="Which bed of that job; else the last.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the recording goes.")
@options.own_db
@options.own_unit
@options.as_json
def return_(
    ref: str,
    broke: str | None,
    felt: str | None,
    bed: int | None,
    folder: Path | None,
    db: Path | None,
    unit: str | None,
    as_json: bool,
) -> None:
    """Link a racket that came back to its job REF, and say what the log saw of it.

    With --broke or --felt the return is noted in a recording of its own; without, the
    log is only asked.
    """
    from tensionlog.pipeline.returns import returned
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.report.return_text import return_lines
    from tensionlog.store import Store

    if broke is not None and felt is not None:
        raise UsageError("--broke and --felt exclude one another: say what came first.")
    settings = load_settings().with_changes({"unit": unit})
    path = db or settings.database_path
    with Store(path, must_exist=True) as store:
        keep_watch(store)
        answer = returned(store, ref, broke=broke, bed=bed)
    if broke is not None or felt is not None:
        settings = settings.with_changes({"bench": answer["bench"]})
        said = {"broke": broke} if broke is not None else {"felt": felt}
        body = {"note": "return", "ref": ref, "bed": answer["bed"], **said}
        kept = keep_notes(
            [body], settings, folder=folder or settings.recordings_folder, db=path
        )
        click.echo(f"Kept in {kept}", err=True)
    if as_json:
        json_line(answer)
    else:
        click.echo("\n".join(return_lines(answer, unit=settings.unit)))
