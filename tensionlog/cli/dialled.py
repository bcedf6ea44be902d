"""The dial on a ticket: what is advised is said, what is dialled is written down."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from tensionlog.cli.say import warn
from tensionlog.errors import StoreError, UsageError

if TYPE_CHECKING:
    from tensionlog.check.head import Advice
    from tensionlog.settings import BenchSettings

ADVISED: Final = "advised"


def dialled(
    job: Mapping[str, Any], dial: str | None, settings: "BenchSettings", db: Path | None
) -> dict[str, Any]:
    """Say what to dial for a job; the job with the dial that is used, where it was named.

    Args:
        job: The ticket.
        dial: `advised`, tensions such as `26.5/25`, or None: nobody said what is dialled.
        settings: Of the bench.
        db: The database, or None.

    Raises:
        UsageError: The advice is to be dialled, and there is none.
        PlanError: `dial` is no tension.
    """
    from tensionlog.pipeline.dial_advice import with_dial
    from tensionlog.plan.tensions import tensions
    from tensionlog.report.dial_text import advice_lines

    advice = _advice(job, settings, db)
    for line in advice_lines(advice, unit=settings.unit):
        click.echo(f"Dial, {line}", err=True)
    if dial is None:
        return dict(job)
    if dial != ADVISED:
        used = tensions(dial, unit=settings.unit)
        return with_dial(
            job, mains_n=used["target_mains_N"], crosses_n=used["target_crosses_N"]
        )
    some = {bed: one.dial_n for bed, one in advice.items()}
    if not some or None in some.values():
        raise UsageError(
            "there is no dial advice today, so --dial advised says nothing. Make the morning "
            "check, or name what is dialled."
        )
    return with_dial(job, mains_n=some.get("mains"), crosses_n=some.get("crosses"))


def _advice(
    job: Mapping[str, Any], settings: "BenchSettings", db: Path | None
) -> "Mapping[str, Advice]":
    """A database in trouble does not keep anybody from stringing."""
    from tensionlog.pipeline.dial_advice import dial_advice
    from tensionlog.store import Store

    if db is None or not db.exists():
        return {}
    try:
        with Store(db) as store:
            return dial_advice(store, job, bench=settings.bench, at=datetime.now(UTC))
    except StoreError as error:
        warn(f"{error} There is no dial advice.")
        return {}
