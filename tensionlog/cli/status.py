"""`tensionlog status`: how the bench stands, and what asks for something."""

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line
from tensionlog.errors import StoreError, UsageError

if TYPE_CHECKING:
    from tensionlog.store import Store

FAILED = 3
"""Exit code of `--fail-on`; 1 and 2 are errors."""


@click.command(short_help="Say how cell, head and clamps stand, and what to do.")
@options.own_db
@click.option("--bench", help="Which bench; else the one of the latest sitting.")
@click.option("--at", metavar="TIME", help="As it stood then, such as 2026-03-02T09:00Z.")
@click.option(
    "--fail-on",
    type=click.Choice(["watch", "service"]),
    help=f"Exit with {FAILED} where something is to be watched, or asks for service.",
)
@options.as_json
def status(
    db: Path | None, bench: str | None, at: str | None, fail_on: str | None, as_json: bool
) -> None:
    """Say how cell, head and clamps stand, which alerts there are, and what to do.

    A clamp is good, watch or service by its latest hold test. --fail-on service also
    fails while an alert about a clamp waits for somebody to act on it, or the morning
    check says stop; --fail-on watch fails while any alert is open.
    """
    from tensionlog.store.glance import glance

    path = options.database(db)
    answer = None if at is not None else glance(path, bench)
    if answer is None:
        answer = _worked_out(path, bench, moment(at))
    if as_json:
        json_line(answer)
    else:
        from tensionlog.report.status import status_lines

        click.echo("\n".join(status_lines(answer)))
    if fail_on is not None and _asks(answer, fail_on):
        sys.exit(FAILED)


def _worked_out(path: Path, bench: str | None, at: datetime | None) -> Any:
    """The long way: the watch looks at what is new first."""
    from tensionlog.pipeline.status import bench_status
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.store import Store

    with Store(path, must_exist=True) as store:
        keep_watch(store)
        return bench_status(store, chosen_bench(store, bench), at=at)


def chosen_bench(store: "Store", bench: str | None) -> str:
    """The bench that is meant: the one named, or the one of the latest sitting.

    Raises:
        StoreError: The database has no such bench, or no sitting at all.
    """
    benches = store.history.benches()
    if not benches:
        raise StoreError(
            "the database has no sitting. Store one with 'tensionlog replay --db'."
        )
    if bench is not None and bench not in benches:
        raise StoreError(f"there is no bench {bench!r}. There is {', '.join(benches)}.")
    return bench or benches[-1]


def moment(text: str | None) -> datetime | None:
    """A time typed by hand; without a zone it is this computer's.

    Raises:
        UsageError: It is none.
    """
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError as error:
        raise UsageError(f"{text!r} is no time. Write it like 2026-03-02T09:00.") from error


def _asks(answer: Any, level: str) -> bool:
    """Whether something stands at `level` or worse."""
    waiting = [a for a in answer["alerts"] if a["state"] in ("raised", "seen")]
    states = [clamp["state"] for clamp in answer["clamps"]] + [answer["cell"]["state"]]
    if "service" in states or any("clamp" in alert["cause"] for alert in waiting):
        return True
    if level == "service":
        return False
    return "watch" in states or any(a["state"] != "closed" for a in answer["alerts"])
