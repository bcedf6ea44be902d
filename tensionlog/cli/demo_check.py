"""`tensionlog demo --check`: a daily and a weekly check on the twin, nobody at the bench."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from tensionlog.cli.record import store_sitting
from tensionlog.cli.report import write_check_page
from tensionlog.cli.say import json_line
from tensionlog.cli.twin_check import TwinCheck, check_on_twin

if TYPE_CHECKING:
    from tensionlog.pipeline.guide import Guide

MOST_S: Final = {"daily": 150.0, "weekly": 600.0}
"""Bench time that each may take, or nobody does it."""

BENCH: Final = {
    "masses_kg": [5, 10, 20],
    "mass_class": "M2",
    "gravity": 9.8123,
    "rated_N": 500,
    "daily_kg": [10],
    "hold_target_N": 110.0,
    "hold_span_m": 0.62,
    "hold_EA_N": 2000.0,
}
"""The invented workshop's masses, and its hold test."""


def demo_check(folder: Path, *, seed: int, head: str, unit: str, as_json: bool) -> None:
    """Make both checks, store them, say what they took step by step, write the page."""
    from tensionlog.pipeline.check_views import check_view
    from tensionlog.store import Store
    from tensionlog.twin import draw_bench

    click.echo(
        "Two checks on a bench made of numbers, its operator included: bench time is counted, "
        "not waited for. Workshop, masses and readings are invented.",
        err=True,
    )
    bench, db, now_s = draw_bench(seed, head=head), folder / "demo-check.db", time.time()
    made: dict[str, TwinCheck] = {}
    for kind, ago_s in (("daily", 86_400.0), ("weekly", 900.0)):
        made[kind] = check_on_twin(
            guide(kind), bench, seed=seed, folder=folder, started_s=now_s - ago_s
        )
        store_sitting(made[kind].whole, made[kind].paths, db)
        if not as_json:
            _say_steps(kind, made[kind])
    with Store(db, must_exist=True) as store:
        page = write_check_page(check_view(store, unit=unit), folder)
    if as_json:
        json_line({kind: _answer(one) for kind, one in made.items()})
    click.echo(f"\nOpen {page} in a browser.", err=True)


def guide(kind: str) -> "Guide":
    """The guide of a daily or a weekly morning at the invented workshop."""
    from tensionlog.check.setup import setup_from_table
    from tensionlog.pipeline.check_guide import check_guide, hold_steps_for

    setup, full = setup_from_table(BENCH), kind == "weekly"
    clamps = setup.clamps if full else setup.clamps[:1]
    return check_guide(setup, full=full, holds=hold_steps_for(setup, clamps, full=full))


def steps_of(made: TwinCheck) -> list[tuple[float, str]]:
    """Bench seconds of each step, and what was asked."""
    from tensionlog.model.guide import Ask, Took
    from tensionlog.report.guide_words import sentence

    asked = {one.step: sentence(one) for one in made.said if isinstance(one, Ask)}
    return [(one.took_s, asked[one.step]) for one in made.said if isinstance(one, Took)]


def _say_steps(kind: str, made: TwinCheck) -> None:
    from tensionlog.report.check_text import check_text

    click.echo(f"\nThe {kind} check, step by step:")
    for took_s, said in steps_of(made):
        click.echo(f"{took_s:7.1f} s  {said}")
    limit_s = MOST_S[kind]
    fits = "fits in" if made.bench_s <= limit_s else "DOES NOT FIT in"
    click.echo(f"{made.bench_s:7.1f} s in all: {fits} {limit_s:.0f} s.")
    tests = made.whole.tests
    answer = {"check": tests.check, "head": tests.head, "holds": list(tests.holds)}
    click.echo(check_text(answer), nl=False)


def _answer(made: TwinCheck) -> dict[str, Any]:
    from tensionlog.pipeline.answers import clean

    tests = made.whole.tests
    return {
        "bench_s": round(made.bench_s, 1),
        "steps": [[round(took_s, 1), said] for took_s, said in steps_of(made)],
        "check": clean(tests.check),
        "head": clean(tests.head),
        "holds": clean(list(tests.holds)),
    }
