"""`tensionlog backup`, `restore` and `import`: all of a bench in one file, and back."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.say import failed, json_line
from tensionlog.errors import RecordingError, UsageError
from tensionlog.settings import settings_path

folder_option = click.option(
    "--folder", type=click.Path(path_type=Path), help="The recordings; else the bench's."
)
db_option = click.option(
    "--db", type=click.Path(path_type=Path), help="The database; else the bench's."
)


@click.command(short_help="Write recordings, database and set-up into one file.")
@click.argument("target", metavar="FILE.zip", type=click.Path(path_type=Path, dir_okay=False))
@folder_option
@db_option
@options.as_json
def backup(target: Path, folder: Path | None, db: Path | None, as_json: bool) -> None:
    """Write all recordings, a copy of the database and the set-up into FILE.zip.

    It is consistent while a recording goes on, is read back and compared before it
    counts, and takes the place of an older FILE.zip only then.
    """
    settings = load_settings()
    folder, db = folder or settings.recordings_folder, db or settings.database_path
    packed = pack_bench(target, folder, db)
    if as_json:
        json_line({"file": str(target), "recordings": packed, "bytes": target.stat().st_size})
        return
    size_mb = target.stat().st_size / 1e6
    click.echo(f"{target}: {packed} recordings, {size_mb:.1f} MB, read back and the same.")


def pack_bench(target: Path, folder: Path, db: Path) -> int:
    """Back up a bench; return how many recordings there are.

    Raises:
        TensionlogError: It could not be done; an older backup is still there.
    """
    from tensionlog.pipeline.bundles import pack
    from tensionlog.pipeline.rebuild import recordings_in
    from tensionlog.store import Store

    paths = recordings_in([folder])
    here = target.resolve().parent
    if not here.is_dir():
        raise RecordingError(f"there is no folder {here}. Make it, or name another file.")
    with TemporaryDirectory() as scratch:
        copy = Path(scratch) / "copy.db"
        if db.exists():
            with Store(db, must_exist=True) as store:
                store.backup_to(copy)
        set_up = settings_path()
        return pack(
            target,
            paths,
            made=datetime.now(UTC).isoformat(),
            database=copy if db.exists() else None,
            settings=set_up if set_up.exists() else None,
        )


@click.command(short_help="Take everything out of a backup again.")
@click.argument("bundle", metavar="FILE.zip", type=click.Path(path_type=Path))
@folder_option
@db_option
@click.option("--set-up", is_flag=True, help="Write the bench's set-up as well.")
@options.as_json
def restore(
    bundle: Path, folder: Path | None, db: Path | None, set_up: bool, as_json: bool
) -> None:
    """Take the recordings out of a backup, and the database where there is none.

    Nothing is overwritten: what is there stays, what is lacking is added, and the
    database is brought up to date with all of it.
    """
    if set_up:
        _restore_set_up(bundle)
    settings = load_settings()
    folder, db = folder or settings.recordings_folder, db or settings.database_path
    if not db.exists():
        _restore_database(bundle, db)
    _take(bundle, folder, db, as_json)


@click.command("import", short_help="Add the recordings of another bench.")
@click.argument("bundle", metavar="FILE.zip", type=click.Path(path_type=Path))
@folder_option
@db_option
@options.as_json
def import_(bundle: Path, folder: Path | None, db: Path | None, as_json: bool) -> None:
    """Add the recordings of FILE.zip, an export or a backup of any bench, to this one's.

    They keep the name of the bench that they were made on.
    """
    settings = load_settings()
    folder, db = folder or settings.recordings_folder, db or settings.database_path
    _take(bundle, folder, db, as_json)


def _take(path: Path, folder: Path, db: Path, as_json: bool) -> None:
    from tensionlog.pipeline.bundles import unpack
    from tensionlog.pipeline.catch_up import catch_up
    from tensionlog.pipeline.rebuild import recordings_in
    from tensionlog.sources.bundle import BundleReader
    from tensionlog.store import Store

    with BundleReader(path) as bundle:
        came = unpack(bundle, folder)
    db.parent.mkdir(parents=True, exist_ok=True)
    with Store(db) as store:
        stored, errors = catch_up(store, recordings_in([folder]))
    for error in (*came.errors, *errors):
        failed(error)
    if as_json:
        json_line({"new": len(came.new), "same": came.same, "stored": stored})
    else:
        click.echo(f"{len(came.new)} recordings are new, {came.same} were there.")
        click.echo(f"{stored} sittings stored in {db}.")
    if came.errors or errors:
        sys.exit(1)


def _restore_database(path: Path, db: Path) -> None:
    from tensionlog.pipeline.bundles import member_named
    from tensionlog.recorder.bundle import put_file
    from tensionlog.sources.bundle import DATABASE, BundleReader
    from tensionlog.store import Store

    with BundleReader(path) as bundle:
        member = member_named(bundle, DATABASE)
        if member is None:
            return
        db.parent.mkdir(parents=True, exist_ok=True)
        put_file(db, bundle.blocks(member))
    with Store(db, must_exist=True) as store:
        damage = store.quick_check()
    if damage:
        db.unlink()
        raise RecordingError(
            f"the database in {path} is damaged: {damage[0]}. It was not taken; "
            "'tensionlog import' takes the recordings and makes a new one."
        )


def _restore_set_up(path: Path) -> None:
    from tensionlog.cli.bench_file import save_settings
    from tensionlog.pipeline.bundles import member_named
    from tensionlog.settings import parse_settings
    from tensionlog.sources.bundle import SETTINGS, BundleReader

    with BundleReader(path) as bundle:
        member = member_named(bundle, SETTINGS)
        if member is None:
            raise UsageError(f"{path} holds no set-up. Leave --set-up out.")
        text = b"".join(bundle.blocks(member)).decode("utf-8", "replace")
    where = save_settings(parse_settings(text, label=f"the set-up in {path}"))
    click.echo(f"Written: {where}", err=True)
