"""`tensionlog hold`: what one clamp alone holds, in twenty seconds."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.check import run_guided
from tensionlog.cli.notes import warn_of_clock
from tensionlog.cli.record import store_sitting
from tensionlog.cli.say import failed, json_line, warn
from tensionlog.errors import UsageError

if TYPE_CHECKING:
    from tensionlog.pipeline.guide import Guide
    from tensionlog.settings import BenchSettings

WATCH_S, MOST_WATCH_S = 8.0, 120.0
"""Pull, shut, let off and eight seconds of watching make twenty a clamp."""


@click.command(short_help="Hold-test a clamp step by step, or read recorded tests.")
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--clamp", "clamps", multiple=True, help="Which clamp; may be given again.")
@click.option("--re-pull", is_flag=True, help="Pull again, which parts flex from slip.")
@click.option("--watch-s", type=float, default=WATCH_S, show_default=True, help="How long.")
@click.option("--target", type=float, help="Force of the test (with --unit); else the bench's.")
@click.option("--span-m", type=float, help="From anchor to clamp, metres; else the bench's.")
@click.option("--ea-n", type=float, help="Stiffness of the reel, N; else the bench's.")
@click.option("--u-ea-pct", type=float, help="Its standard uncertainty, %.")
@click.option("--port", help="Port or URL; else the bench's.")
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the recording goes.")
@options.own_db
@click.option("--quiet", is_flag=True, help="No bell.")
@options.own_unit
@options.as_json
def hold(
    files: Sequence[Path],
    clamps: Sequence[str],
    port: str | None,
    baud: int | None,
    folder: Path | None,
    db: Path | None,
    quiet: bool,
    unit: str | None,
    as_json: bool,
    **wanted: Any,
) -> None:
    """Test what one clamp alone holds: pull, shut it, let off, watch.

    The string is anchored at the cell, the clamp is between cell and head. Use a control
    reel kept for tests, always at the same force. With FILE, tests are read from
    recordings instead.
    """
    if files:
        _say_recorded(files, as_json)
        return
    settings = load_settings().with_changes({"port": port, "baud": baud, "unit": unit})
    guide = hold_guide(settings, clamps, **wanted)
    if settings.port is None:
        raise UsageError("which port? Give --port; 'tensionlog ports' lists what is there.")
    path = db or settings.database_path
    whole, paths = run_guided(
        guide,
        settings,
        folder=folder or settings.recordings_folder,
        bell=not quiet,
        purpose="hold",
    )
    store_sitting(whole, paths, path)
    for problem in whole.tests.problems:
        warn(problem)
    say_holds(whole.tests.holds, as_json=as_json, standing=_standing(path, settings))
    if any(test["problem"] for test in whole.tests.holds) or not whole.tests.holds:
        sys.exit(1)


def hold_guide(
    settings: "BenchSettings",
    clamps: Sequence[str],
    *,
    re_pull: bool,
    watch_s: float,
    target: float | None,
    span_m: float | None,
    ea_n: float | None,
    u_ea_pct: float | None,
) -> "Guide":
    """The guide of these tests; what is not named is the bench's own.

    Raises:
        UsageError: A clamp that the bench does not have, none named, or no force.
    """
    from tensionlog.check.setup import setup_from_table
    from tensionlog.pipeline.check_guide import ANCHOR_S, SWAP_S
    from tensionlog.pipeline.guide import Guide
    from tensionlog.pipeline.hold_guide import hold_steps
    from tensionlog.units import N_PER_UNIT

    setup = setup_from_table(settings.check or {})
    _refuse_unknown(clamps, setup.clamps)
    target_n = setup.hold_target_n if target is None else target * N_PER_UNIT[settings.unit]
    if target_n is None:
        raise UsageError(
            "at which force? Give --target, always the same one; 'tensionlog bench check "
            "--hold-target' writes it once."
        )
    if not 2.0 <= watch_s <= MOST_WATCH_S:
        raise UsageError(f"--watch-s is 2 to {MOST_WATCH_S:.0f} seconds, not {watch_s:g}.")
    steps = [
        step
        for number, clamp in enumerate(clamps)
        for step in hold_steps(
            clamp=clamp,
            target_n=round(target_n, 3),
            span_m=span_m or setup.hold_span_m,
            watch_s=watch_s,
            ea_n=setup.hold_ea_n if ea_n is None else ea_n,
            u_ea_pct=setup.hold_u_ea_pct if u_ea_pct is None else u_ea_pct,
            mount_s=SWAP_S if number else ANCHOR_S,
            re_pull=re_pull,
        )
    ]
    uncalibrated = settings.calibration is None and settings.pattern is None
    return Guide(steps, unit="counts" if uncalibrated else "N", done="done")


def _refuse_unknown(clamps: Sequence[str], known: Sequence[str]) -> None:
    if not clamps:
        raise UsageError(f"which clamp? Give --clamp; this bench has {', '.join(known)}.")
    for clamp in clamps:
        if clamp not in known:
            raise UsageError(
                f"this bench has no clamp {clamp!r}. It has {', '.join(known)}; "
                "'tensionlog bench check --clamps' names them."
            )


def _standing(db: Path, settings: "BenchSettings") -> dict[str, Any]:
    """Each clamp beside its own history, by name."""
    from tensionlog.pipeline.status import bench_status
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        warn_of_clock(store, settings.bench)
        answer = bench_status(store, settings.bench)
    return {clamp["clamp"]: clamp for clamp in answer["clamps"]}


def say_holds(
    holds: Sequence[dict[str, Any]], *, as_json: bool, standing: dict[str, Any]
) -> None:
    """Say what hold tests found, each beside its clamp's history where that is known."""
    from tensionlog.pipeline.answers import clean
    from tensionlog.report.hold_text import hold_lines, standing_lines

    for test in holds:
        if as_json:
            json_line(clean(test))
            continue
        click.echo("\n".join(hold_lines(test)))
        if test["clamp"] in standing and not test["problem"]:
            for line in standing_lines(standing[test["clamp"]]):
                click.echo(line)


def _say_recorded(files: Sequence[Path], as_json: bool) -> None:
    from tensionlog.pipeline.replay import Replayed, replay_all

    good = True
    for item in replay_all(files):
        if not isinstance(item, Replayed):
            failed(item)
            good = False
            continue
        for warning in item.warnings:
            warn(f"{item.path.name}: {warning}")
        if not item.whole.tests.holds:
            warn(f"{item.path.name} holds no hold test.")
            good = False
        say_holds(item.whole.tests.holds, as_json=as_json, standing={})
    if not good:
        sys.exit(1)
