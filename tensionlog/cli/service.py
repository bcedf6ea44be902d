"""`tensionlog service`: a clamp was cleaned, set, re-faced or replaced."""

from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.notes import keep_notes
from tensionlog.cli.say import json_line, warn
from tensionlog.cli.status import moment
from tensionlog.errors import UsageError


@click.command(short_help="Note that a clamp was serviced, or ask whether it helped.")
@click.option("--clamp", required=True, help="Which clamp, such as B.")
@click.option("--what", help="What was done: cleaned, adjusted, re-faced, replaced, …")
@click.option("--at", metavar="TIME", help="When, such as 2026-03-02T18:00; else now.")
@click.option("--bench", help="Whose clamp; else this bench's.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the recording goes.")
@options.own_db
@options.as_json
def service(
    clamp: str,
    what: str | None,
    at: str | None,
    bench: str | None,
    folder: Path | None,
    db: Path | None,
    as_json: bool,
) -> None:
    """Note what was done to a clamp; without --what, say whether the last service helped.

    The note goes into a recording of its own, like everything that is decided at the
    bench. Before and after are compared once there are hold tests of both.
    """
    from tensionlog.pipeline.services import services_of
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.report.hold_text import effect_lines
    from tensionlog.store import Store

    settings = load_settings().with_changes({"bench": bench})
    known = (settings.check or {}).get("clamps", ["A", "B"])
    if clamp not in known:
        raise UsageError(
            f"this bench has no clamp {clamp!r}. It has {', '.join(known)}; "
            "'tensionlog bench check --clamps' names them."
        )
    path = db or settings.database_path
    if what is not None:
        when = moment(at)
        body = {"note": "service", "clamp": clamp, "what": what}
        stated = {} if when is None else {"at": when.isoformat()}
        kept = keep_notes(
            [{**stated, **body}], settings, folder=folder or settings.recordings_folder, db=path
        )
        click.echo(f"Kept in {kept}", err=True)
    with Store(path, must_exist=True) as store:
        keep_watch(store)
        effects, tests = services_of(store, settings.bench, clamp)
    if as_json:
        json_line(effects)
    elif not effects:
        click.echo(f"Clamp {clamp} was never serviced. Note one with --what cleaned.")
    else:
        click.echo("\n".join(effect_lines(clamp, effects)))
    if what is not None and not tests:
        warn(f"clamp {clamp} has no hold test yet: 'tensionlog hold --clamp {clamp}'.")
