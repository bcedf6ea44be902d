"""`tensionlog dial`: what to dial for an order, today."""

from datetime import UTC, datetime
from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.say import json_line
from tensionlog.errors import CalibrationError


@click.command(short_help="What to dial for an order, today.")
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option(
    "--unit",
    type=click.Choice(["lbf", "kgf"]),
    help="Of orders and dial; else the bench's.",
)
@options.as_json
def dial(db: Path | None, unit: str | None, as_json: bool) -> None:
    """Print what to dial for every order from 18 to 65 lb, or from 8 kg.

    Only where today's check is good, never corrected by more than 5 %, and with the
    uncertainty of the pull that comes of it.
    """
    from tensionlog.pipeline.dial_advice import head_today, todays_verdict
    from tensionlog.report.dial_text import CAUTION, table_lines
    from tensionlog.store import Store

    settings = load_settings()
    unit = unit or ("kgf" if settings.unit == "kgf" else "lbf")
    now = datetime.now(UTC)
    with Store(db or settings.database_path, must_exist=True) as store:
        head = head_today(store, bench=settings.bench, at=now)
        verdict = todays_verdict(store, bench=settings.bench, at=now)
    if head is None:
        raise CalibrationError(
            "the head was not checked in the last two weeks. Pull a scrap string: "
            "'tensionlog check --part head'."
        )
    if verdict != "good":
        raise CalibrationError(
            f"no dial advice: today's check is {verdict or 'missing'}. Make it first: "
            "'tensionlog check'."
        )
    table = head.dial_table(check_verdict=verdict, unit=unit)
    if as_json:
        json_line(
            {
                "head": head.answer(),
                "table": [
                    {"order_N": a.order_n, "dial_N": a.dial_n, "u_N": a.u_n, "capped": a.capped}
                    for a in table
                ],
            }
        )
        return
    for line in table_lines(table, unit=unit):
        click.echo(line)
    click.echo(CAUTION)
