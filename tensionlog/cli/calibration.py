"""`tensionlog calibration`: what could be in force, what is, and who decided it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings, save_settings
from tensionlog.cli.say import json_line
from tensionlog.errors import CalibrationError, UsageError

if TYPE_CHECKING:
    from tensionlog.pipeline.calibrations import Adopted, Proposed
    from tensionlog.settings import BenchSettings
    from tensionlog.sources.recording import RecordingReader
    from tensionlog.store import Store

own_db = click.option(
    "--db", type=click.Path(path_type=Path), help="The database; else the bench's."
)


@click.group(short_help="List, adopt or take back a calibration of the cell.")
def calibration() -> None:
    """List, adopt or take back a calibration of the cell.

    Nothing is in force before somebody adopts it; each decision is written into a
    recording of its own, and can be taken back.
    """


@calibration.command("list")
@own_db
@options.as_json
def list_them(db: Path | None, as_json: bool) -> None:
    """List what could be adopted, and what was decided."""
    from tensionlog.pipeline.calibrations import adopted, proposed
    from tensionlog.store import Store

    settings = load_settings()
    with Store(db or settings.database_path, must_exist=True) as store:
        some = proposed(store, bench=settings.bench)
        decided = adopted(store, bench=settings.bench)
    if as_json:
        json_line(
            {
                "proposed": [_as_json(one) for one in some],
                "adopted": [dict(one.body) for one in decided],
                "in_force": settings.calibration,
            }
        )
        return
    for one in some:
        click.echo(_line(one))
    for last in decided[-1:]:
        when = datetime.fromtimestamp(last.at_s, UTC)
        click.echo(f"In force since {when:%Y-%m-%d %H:%M} UTC: {last.calibration.name}")
    if not decided:
        click.echo("In force: what the bench's set-up says; nothing was adopted here.")


@calibration.command()
@click.argument("name", required=False)
@click.option("--span", is_flag=True, help="The scale that the latest check found.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@own_db
@options.as_json
def adopt(name: str | None, span: bool, yes: bool, db: Path | None, as_json: bool) -> None:
    """Put a calibration in force: NAME, or the latest full one.

    What the cell read before (as found) and what the same loads read with it (as left)
    are both kept with the decision.
    """
    from tensionlog.pipeline import calibrations as known
    from tensionlog.store import Store

    settings = load_settings()
    kind = known.SPAN if span else None if name else known.FULL
    with Store(db or settings.database_path, must_exist=True) as store:
        some = known.proposed(store, bench=settings.bench)
        one = known.chosen(some, name=name, kind=kind)
        _refuse_broken_off(one)
        reader = _recording_of(one, store, settings)
        left = None if reader is None else known.read_again(reader, one.calibration)
        note = known.adopt_note(one, replaces=settings.calibration, as_left=left)
        _say_change(note)
        if not yes and not click.confirm("Adopt it?", err=True):
            raise UsageError("nothing was adopted.")
        _decide(settings, store, note)
    save_settings(settings.with_changes({"calibration": one.stated}))
    if as_json:
        json_line(note)
    else:
        click.echo(f"In force: {one.calibration.name}. Check again to see how it is left.")


@calibration.command()
@click.option("--yes", is_flag=True, help="Do not ask.")
@own_db
def undo(yes: bool, db: Path | None) -> None:
    """Take the last adoption back: what was in force before it is again."""
    from tensionlog.pipeline import calibrations as known
    from tensionlog.store import Store

    settings = load_settings()
    with Store(db or settings.database_path, must_exist=True) as store:
        standing = known.adopted(store, bench=settings.bench)
        last = _last(standing)
        restores = last.body.get("replaces")
        if not isinstance(restores, Mapping):
            raise CalibrationError(
                f"{last.calibration.name} was the first calibration of this bench: there is "
                "none to go back to."
            )
        click.echo(f"Back from {last.calibration.name} to {dict(restores)}.", err=True)
        if not yes and not click.confirm("Take it back?", err=True):
            raise UsageError("nothing was changed.")
        _decide(settings, store, known.undo_note(last))
    save_settings(settings.with_changes({"calibration": dict(restores)}))
    click.echo(f"Taken back: {last.calibration.name}.")


@click.command(short_help="Read stored sittings again with another calibration.")
@options.recordings
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option("--calibration", "name", help="Its name, see 'tensionlog calibration list'.")
@click.option("--own", is_flag=True, help="Back to the calibration each was recorded with.")
@options.as_json
def recompute(
    files: Sequence[Path], db: Path | None, name: str | None, own: bool, as_json: bool
) -> None:
    """Read sittings again with another calibration, and store what comes of it.

    FILE is a recording that the database holds. The decision is written down and holds
    for a rebuild, too; --own takes it back.
    """
    from tensionlog.pipeline.calibrations import chosen, proposed
    from tensionlog.pipeline.replay import Replayed, replay_all, sittings_of
    from tensionlog.store import Store

    if own == (name is not None):
        raise UsageError("name a calibration with --calibration, or --own to go back.")
    settings = load_settings()
    readers, errors = sittings_of(files)
    for error in errors:
        raise error
    with Store(db or settings.database_path, must_exist=True) as store:
        stated = None
        if name is not None:
            stated = chosen(proposed(store, bench=settings.bench), name=name).stated
        named = [
            {"bench": r.header.bench, "started": r.header.started.isoformat()} for r in readers
        ]
        note = {"note": "recompute", "recordings": named, "calibration": stated}
        _decide(settings, store, note)
        for item in replay_all(files, store=store):
            if not isinstance(item, Replayed):
                raise item
    if as_json:
        json_line(note)
    else:
        with_it = "each with its own calibration" if own else f"with {name}"
        click.echo(f"Read again {with_it}: {len(readers)} sitting(s).")


def _decide(settings: "BenchSettings", store: "Store", note: Mapping[str, Any]) -> None:
    from tensionlog.pipeline.decisions import record_decision, store_decision

    path = record_decision(settings.recordings_folder, bench=settings.bench, notes=[note])
    store_decision(store, path)
    click.echo(f"Written down: {path}", err=True)


def _refuse_broken_off(one: "Proposed") -> None:
    if one.check is not None and one.check.get("incomplete"):
        raise CalibrationError(
            f"the check of {one.started:%Y-%m-%d %H:%M} was broken off: it is kept, and "
            "nothing is adopted from it. Make it again."
        )


def _recording_of(
    one: "Proposed", store: "Store", settings: "BenchSettings"
) -> "RecordingReader | None":
    """The recording that a calibration comes from, where it still lies in its folder."""
    from tensionlog.sources.recording import open_recording

    names = [
        stored.name
        for stored in store.recordings()
        if stored.header.bench == one.bench and stored.header.started == one.started
    ]
    for name in names:
        for end in ("", ".gz"):
            path = settings.recordings_folder / f"{name}{end}"
            if path.exists():
                return open_recording(path)
    return None


def _say_change(note: Mapping[str, Any]) -> None:
    for what in ("as_found", "as_left"):
        said = note[what]
        words = "not read" if said is None else _errors(said)
        click.echo(f"{what.replace('_', ' ').capitalize()}: {words}", err=True)


def _errors(summary: Mapping[str, Any]) -> str:
    known = [p for p in summary["points"] if p["error_N"] is not None]
    if not known:
        return "in counts only: there was no calibration"
    return ", ".join(f"{p['reference_N']:.0f} N {p['error_N']:+.2f} N" for p in known)


def _last(standing: "Sequence[Adopted]") -> "Adopted":
    if not standing:
        raise CalibrationError("nothing was adopted on this bench, so nothing can be undone.")
    return standing[-1]


def _line(one: "Proposed") -> str:
    said = f"{one.started:%Y-%m-%d %H:%M}  {one.kind:<5} {one.calibration.name}"
    if one.record is None:
        return f"{said}  (changes the scale by {_change_pct(one):+.3f} %)"
    loads, runs = one.record["loads"], one.record["runs"]
    return f"{said}  ({loads} loads, {runs} runs, residual {_residual_n(one):.3f} N)"


def _change_pct(one: "Proposed") -> float:
    return -float((one.check or {}).get("span_error_pct") or 0.0)


def _residual_n(one: "Proposed") -> float:
    record = one.record or {}
    return float(record["lower_limit_factor_N"]) / 2.4


def _as_json(one: "Proposed") -> dict[str, Any]:
    return {
        "kind": one.kind,
        "started": one.started.isoformat(),
        "calibration": one.stated,
        "record": one.record,
    }
