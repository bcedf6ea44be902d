"""`tensionlog alerts`: what asks for something; say that it was seen, or acted on."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.notes import keep_notes
from tensionlog.cli.say import json_line
from tensionlog.errors import StoreError, UsageError

names = click.argument("named", metavar="[NAME]...", nargs=-1)
folder = click.option(
    "--folder", type=click.Path(path_type=Path), help="Where the recording goes."
)
everything = click.option("--all", "is_all", is_flag=True, help="Every open alert.")


@click.group(invoke_without_command=True, short_help="List alerts; say what became of them.")
@click.option("--all", "is_all", is_flag=True, help="Closed ones too.")
@options.own_db
@options.as_json
@click.pass_context
def alerts(ctx: click.Context, is_all: bool, db: Path | None, as_json: bool) -> None:
    """List the alerts of this database, each with its name, cause and what to do.

    An alert is raised once, and closed by tests that show the cure. In between somebody
    may say that it was seen ('alerts seen') or acted on ('alerts acted').
    """
    ctx.obj = db
    if ctx.invoked_subcommand is not None:
        return
    from tensionlog.report.status import alert_lines

    found = [a for a in all_alerts(options.database(db)) if is_all or a["state"] != "closed"]
    if as_json:
        for alert in found:
            json_line(alert)
        return
    for alert in found:
        click.echo("\n".join(alert_lines(alert)).lstrip("\n"))
    if not found:
        click.echo("no alerts." if is_all else "no open alerts.")


@alerts.command("seen")
@names
@everything
@folder
@click.pass_obj
def seen(db: Path | None, named: Sequence[str], is_all: bool, folder: Path | None) -> None:
    """Say that somebody has seen an alert."""
    _say("alert-seen", db, named, is_all, folder, {})


@alerts.command("acted")
@names
@everything
@click.option("--what", help="What was done, for the record.")
@folder
@click.pass_obj
def acted(
    db: Path | None, named: Sequence[str], is_all: bool, what: str | None, folder: Path | None
) -> None:
    """Say that somebody acted on an alert; the next good test then closes it.

    A clamp that was cleaned or replaced is noted with 'tensionlog service', which says
    the same.
    """
    _say("alert-acted", db, named, is_all, folder, {} if what is None else {"what": what})


@alerts.command("tell")
def tell() -> None:
    """Send a test message to everybody whom 'bench alerts --notify' names."""
    from tensionlog.cli.notify import send

    urls = (load_settings().notify or {}).get("urls", [])
    if not urls:
        raise UsageError("nobody is to be told: name an address, 'bench alerts --notify URL'.")
    if not send("tensionlog: a test", "Alerts of this bench will come here.", urls=urls):
        raise click.exceptions.Exit(1)
    click.echo(f"Told {len(urls)}.")


def all_alerts(path: Path) -> list[dict[str, Any]]:
    """Every alert of every bench in a database, oldest first.

    Raises:
        StoreError: There is no database.
    """
    from tensionlog.pipeline.status import bench_status
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.store import Store

    with Store(path, must_exist=True) as store:
        keep_watch(store)
        found = [
            alert
            for bench in store.history.benches()
            for alert in bench_status(store, bench)["alerts"]
        ]
    return sorted(found, key=lambda alert: str(alert["raised"]))


def _say(
    note: str,
    db: Path | None,
    named: Sequence[str],
    is_all: bool,
    folder: Path | None,
    more: Mapping[str, Any],
) -> None:
    path = options.database(db)
    known = {alert["alert"]: alert for alert in all_alerts(path)}
    waiting = [name for name, alert in known.items() if alert["state"] != "closed"]
    chosen = waiting if is_all else list(named)
    unknown = [name for name in chosen if name not in known]
    if unknown:
        raise StoreError(
            f"there is no alert {unknown[0]!r}. Open are {', '.join(waiting) or 'none'}."
        )
    if not chosen:
        raise UsageError("which alert? Give its name or --all: 'tensionlog alerts' lists them.")
    for name in chosen:
        alert = known[name]
        settings = load_settings().with_changes({"bench": alert["bench"]})
        body = {"note": note, "alert": name, "raised": alert["raised"], **more}
        kept = keep_notes(
            [body], settings, folder=folder or settings.recordings_folder, db=path
        )
        click.echo(f"Kept in {kept}")
