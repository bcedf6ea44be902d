"""`tensionlog doctor`: is all in order, from the port to the clock?"""

import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tensionlog.cli import options
from tensionlog.cli.backup import db_option, folder_option
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.say import failed, json_line, one_line
from tensionlog.errors import LinkError, TensionlogError

if TYPE_CHECKING:
    from tensionlog.pipeline.doctor import Finding
    from tensionlog.settings import BenchSettings

MARKS = {"good": "ok", "look": "LOOK", "bad": "BAD"}
GRABBERS = {
    "ModemManager": "ModemManager talks to new ports for ten seconds: wait, or let udev "
    "set ID_MM_DEVICE_IGNORE for this device.",
    "brltty": "brltty takes the converters of many boards for braille displays: remove it "
    "if nobody needs it.",
}


@click.command(short_help="Look at the whole chain and say what to do.")
@click.option("--port", help="Port or URL; else the bench's.")
@folder_option
@db_option
@click.option(
    "--seconds",
    type=click.FloatRange(min=6.0),
    default=10.0,
    show_default=True,
    help="How long to listen to the empty cell.",
)
@click.option("--prove", is_flag=True, help="Read every recording whole and prove it.")
@click.option("--fix", is_flag=True, help="Mend what can safely be mended; asks first.")
@click.option("--yes", is_flag=True, help="With --fix: do not ask.")
@options.as_json
def doctor(
    port: str | None,
    folder: Path | None,
    db: Path | None,
    seconds: float,
    prove: bool,
    fix: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Look at port, device, cell, folder, recordings, database and clock.

    Nothing is changed without --fix. The cell is best left empty and alone meanwhile.
    Exit code 1 if something is bad.
    """
    settings = load_settings().with_changes({"port": port})
    folder, db = folder or settings.recordings_folder, db or settings.database_path
    found = list(_looks(settings, folder, db, seconds=seconds, prove=prove))
    for finding in found:
        if as_json:
            json_line(finding._asdict())
        else:
            text = one_line(f"{finding.what}: {finding.text}")
            click.echo(f"{MARKS[finding.level]:<5}{text}")
    wanted = list(dict.fromkeys(f.mends for f in found if f.mends is not None))
    if wanted and not fix:
        click.echo(f"'tensionlog doctor --fix' would {'; '.join(wanted)}.", err=True)
    mended = {what for what in wanted if fix and _mend(what, folder, db, yes=yes)}
    if any(finding.level == "bad" and finding.mends not in mended for finding in found):
        sys.exit(1)


def _looks(
    settings: "BenchSettings", folder: Path, db: Path, *, seconds: float, prove: bool
) -> "Iterator[Finding]":
    from tensionlog.pipeline import doctor as looks

    paths = looks.recordings_found(folder)
    yield from looks.look_at_folder(folder)
    yield from looks.look_at_recordings(paths, prove=prove)
    yield from looks.look_at_database(db, paths)
    yield from looks.look_at_clock(datetime.now(UTC), paths)
    yield from _look_at_port(settings, seconds)


def _look_at_port(settings: "BenchSettings", seconds: float) -> "Iterator[Finding]":
    from tensionlog.cli.device_port import listening
    from tensionlog.pipeline.doctor import BAD, LOOK, Finding, look_at_device

    if settings.port is None:
        text = "none is set. 'tensionlog bench set --port' names it once."
        yield Finding(LOOK, "port", text)
        return
    try:
        with listening(settings.port, settings.baud) as listener:
            for _ in listener.listen(seconds):
                pass
            heard = listener.heard()
    except LinkError as error:
        yield Finding(BAD, "port", str(error))
        for name in sorted(set(GRABBERS) & _running()):
            yield Finding(LOOK, "port", GRABBERS[name])
        return
    if settings.pattern is not None:
        return  # another sketch's lines: 'device check' knows only the pinned ones
    yield from look_at_device(heard, wanted=settings.device, stated_hz=settings.rate_hz)


def _running() -> set[str]:
    """Names of the programs that run, where the system tells."""
    names = set()
    for comm in Path("/proc").glob("[0-9]*/comm"):
        try:
            names.add(comm.read_text(encoding="utf-8", errors="replace").strip())
        except OSError:
            continue  # it has ended meanwhile
    return names


def _mend(what: str, folder: Path, db: Path, *, yes: bool) -> bool:
    """Do one safe thing, if it is wanted; whether it is done."""
    from tensionlog.pipeline import doctor as looks

    if not yes and not click.confirm(f"{what[0].upper()}{what[1:]}?", err=True):
        return False
    ways: dict[str, Callable[[Path, Path], None]] = {
        looks.MAKE_FOLDER: _make_folder,
        looks.REMOVE_PARTS: _remove_parts,
        looks.STORE_LACKING: _store_lacking,
        looks.REBUILD: _rebuild,
    }
    try:
        ways[what](folder, db)
    except (TensionlogError, OSError) as error:
        failed(error)
        return False
    click.echo(f"Done: {what}.", err=True)
    return True


def _make_folder(folder: Path, _db: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)


def _remove_parts(folder: Path, _db: Path) -> None:
    for path in folder.rglob("*.part"):
        path.unlink()


def _store_lacking(folder: Path, db: Path) -> None:
    from tensionlog.pipeline.catch_up import catch_up
    from tensionlog.pipeline.doctor import recordings_found
    from tensionlog.store import Store

    db.parent.mkdir(parents=True, exist_ok=True)
    with Store(db) as store:
        for error in catch_up(store, recordings_found(folder))[1]:
            failed(error)


def _rebuild(folder: Path, db: Path) -> None:
    from tensionlog.pipeline.doctor import recordings_found
    from tensionlog.pipeline.rebuild import rebuild

    built = rebuild(db, recordings_found(folder), at=datetime.now(UTC))
    for error in built.errors:
        failed(error)
    if built.old is not None:
        click.echo(f"The old one is kept as {built.old}.", err=True)
