"""`tensionlog check`: the morning check, step by step; only the next mass is in the hands."""

import signal
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.guide_keys import KEYS_LINE, GuideKeys
from tensionlog.cli.guide_session import GuideSession
from tensionlog.cli.keys import pressed_by
from tensionlog.cli.record import make_capture, stopping, store_sitting
from tensionlog.cli.say import json_line
from tensionlog.cli.session import Session
from tensionlog.errors import LinkError, UsageError

if TYPE_CHECKING:
    from tensionlog.check.setup import CheckSetup
    from tensionlog.pipeline.guide import Guide, Step
    from tensionlog.pipeline.sitting import Whole
    from tensionlog.pipeline.windows import Tests
    from tensionlog.settings import BenchSettings


@click.command(short_help="The morning check, step by step: cell, head, clamp.")
@click.option("--port", help="Port or URL; else the bench's.")
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option("--full", is_flag=True, help="The weekly part, due or not.")
@click.option("--daily", is_flag=True, help="The daily part, though the weekly one is due.")
@click.option("--calibrate", is_flag=True, help="A full calibration: five loads, three runs.")
@click.option(
    "--part",
    "parts",
    multiple=True,
    type=click.Choice(["cell", "head", "hold", "turn", "stiffness"]),
    help="Only this part; may be given several times.",
)
@click.option("--clamp", "clamps", multiple=True, help="Hold-test this clamp, whoever's turn.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the recording goes.")
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option("--no-db", is_flag=True, help="Record only.")
@click.option(
    "--plan", is_flag=True, help="Only say what would be asked, and how long it takes."
)
@click.option("--quiet", is_flag=True, help="No bell.")
@options.own_unit
@options.as_json
def check(
    port: str | None,
    baud: int | None,
    folder: Path | None,
    db: Path | None,
    no_db: bool,
    plan: bool,
    quiet: bool,
    unit: str | None,
    as_json: bool,
    **wanted: Any,
) -> None:
    """Check cell, head and clamp before the day's first job.

    It asks for one thing after the other, knows a steady reading by itself, and says so
    with a sound; the only thing to do is what is asked. Without --full or --daily the
    weekly part is made when it is due. Keys: n next, a again, s leave out, q stop.
    """
    settings = load_settings().with_changes({"port": port, "baud": baud, "unit": unit})
    store_path = None if no_db else db or settings.database_path
    guide = guide_for(settings, store_path, **wanted)
    if plan:
        _say_plan(guide, as_json)
        return
    if settings.port is None:
        raise UsageError("which port? Give --port; 'tensionlog ports' lists what is there.")
    whole, paths = run_guided(
        guide, settings, folder=folder or settings.recordings_folder, bell=not quiet
    )
    if store_path is not None:
        store_sitting(whole, paths, store_path)
    say_result(whole, as_json=as_json, unit=settings.unit)


def guide_for(
    settings: "BenchSettings",
    db: Path | None,
    *,
    full: bool,
    daily: bool,
    calibrate: bool,
    parts: Sequence[str],
    clamps: Sequence[str],
) -> "Guide":
    """The guide of this morning.

    Raises:
        TensionlogError: The set-up of the check cannot be used, or there is none.
    """
    from tensionlog.check.setup import setup_from_table
    from tensionlog.pipeline.check_guide import PARTS, calibration_guide, check_guide

    if full and daily:
        raise UsageError("--full and --daily exclude one another.")
    setup = setup_from_table(settings.check or {})
    if calibrate:
        return calibration_guide(setup)
    if "turn" in parts or "stiffness" in parts:
        return _measure_guide(setup, db, settings.bench, parts)
    is_full = full or (not daily and _is_due(db, settings.bench, setup))
    unit = "counts" if _is_uncalibrated(settings) else "N"
    return check_guide(
        setup,
        full=is_full,
        unit=unit,
        parts=parts or PARTS,
        holds=_holds(setup, db, settings.bench, clamps, full=is_full),
    )


def run_guided(
    guide: "Guide",
    settings: "BenchSettings",
    *,
    folder: Path,
    bell: bool = True,
    purpose: str = "check",
) -> tuple["Whole", list[Path]]:
    """Make a guided test on the bench's port; give what was read and its files.

    Raises:
        LinkError: Nothing came.
    """
    from tensionlog.pipeline.guided import Guided
    from tensionlog.pipeline.live import Live

    capture = make_capture(settings, purpose, folder)
    guided = Guided(guide, capture=capture)
    link = Session(port=str(settings.port), baud=settings.baud, unit=settings.unit)
    session = GuideSession(link, unit=settings.unit, bell=bell)
    caught: list[signal.Signals] = []
    with (
        stopping(capture, caught),
        pressed_by(GuideKeys()) as keys,
        Live(capture, on_sitting=guided.listen) as live,
    ):
        click.echo(f"Keys: {KEYS_LINE}", err=True)
        session.follow(guided, live, keys=keys, goes_on=lambda: not caught)
        for said in guided.stop():
            session.say(said)
        _, whole = live.finish()
    if whole is None or capture.recorder is None:
        raise LinkError(f"nothing came from {settings.port}, so nothing was recorded.")
    for path in capture.recorder.paths:
        click.echo(f"Closed and safe: {path}", err=True)
    return whole, capture.recorder.paths


def say_result(whole: "Whole", *, as_json: bool, unit: str) -> None:
    """Say what was found: the verdict in one line, then the table; or JSON."""
    from tensionlog.pipeline.answers import clean
    from tensionlog.report.check_text import check_text

    tests = whole.tests
    answer = {
        "check": tests.check,
        "head": tests.head,
        "holds": list(tests.holds),
        "turn": tests.turn,
        "stiffness": tests.stiffness,
        "calibration": tests.calibration,
        "problems": list(tests.problems),
    }
    if as_json:
        json_line(clean(answer))
    else:
        click.echo(check_text(answer), nl=False)
        click.echo(next_step(tests), err=True)
    is_judged = tests.check is not None and tests.calibration is None
    if is_judged and (tests.check or {})["verdict"] not in ("good", "adjust"):
        sys.exit(1)


def next_step(tests: "Tests") -> str:
    """What to do with what was found."""
    if tests.calibration is not None:
        name = tests.calibration["name"]
        return f"Proposed: {name}. Put it in force with 'tensionlog calibration adopt'."
    if tests.check is not None and tests.check["verdict"] in ("adjust", "stop"):
        return (
            "Look at masses and mounting; then 'tensionlog calibration adopt --span', or "
            "'tensionlog check --calibrate' for a full one. Check again afterwards."
        )
    return "Its page: tensionlog report --check --db …; what to dial: tensionlog dial"


def _say_plan(guide: "Guide", as_json: bool) -> None:
    from tensionlog.report.guide_words import sentence

    asks = guide.asks
    if as_json:
        json_line([{"step": a.step, "says": sentence(a), "lasts_s": a.lasts_s} for a in asks])
        return
    for ask in asks:
        click.echo(f"{ask.number:>3}  {ask.lasts_s:4.0f} s  {sentence(ask)}")
    total_s = sum(ask.lasts_s for ask in asks)
    click.echo(f"About {total_s / 60:.1f} minutes at the bench.")


def _is_due(db: Path | None, bench: str, setup: "CheckSetup") -> bool:
    from tensionlog.pipeline.due import full_is_due
    from tensionlog.store import Store

    if db is None or not db.exists():
        return True
    with Store(db) as store:
        return full_is_due(
            store, bench=bench, at=datetime.now(UTC), every_days=setup.full_every_days
        )


def _holds(
    setup: "CheckSetup", db: Path | None, bench: str, clamps: Sequence[str], *, full: bool
) -> "list[Step]":
    from tensionlog.pipeline.check_guide import hold_steps_for
    from tensionlog.pipeline.due import next_clamp
    from tensionlog.store import Store

    if clamps or full:
        return hold_steps_for(setup, clamps or setup.clamps, full=full)
    if db is None or not db.exists():
        return hold_steps_for(setup, setup.clamps[:1], full=full)
    with Store(db) as store:
        turn = next_clamp(store, bench=bench, clamps=setup.clamps)
    return hold_steps_for(setup, (turn,), full=full)


def _measure_guide(
    setup: "CheckSetup", db: Path | None, bench: str, parts: Sequence[str]
) -> "Guide":
    """The guide of a turn or a stiffness test, which stand alone."""
    from tensionlog.pipeline.measure_guide import stiffness_guide, turn_guide

    if len(parts) != 1:
        raise UsageError("a turn test and a stiffness test are made alone: name one --part.")
    if parts[0] == "stiffness":
        return stiffness_guide(setup)
    from tensionlog.pipeline.heads import latest_head
    from tensionlog.store import Store

    if db is None or not db.exists():
        return turn_guide(setup, None)
    with Store(db) as store:
        return turn_guide(setup, latest_head(store, bench=bench))


def _is_uncalibrated(settings: "BenchSettings") -> bool:
    return settings.calibration is None and settings.pattern is None
