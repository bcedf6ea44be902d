"""`tensionlog bench`: what this bench is, written once."""

import json
from typing import Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings, save_settings
from tensionlog.cli.say import json_line
from tensionlog.settings import settings_path, settings_text


@click.group(invoke_without_command=True, short_help="Show or write this bench's set-up.")
@click.option("--where", is_flag=True, help="Print the path of the set-up file.")
@options.as_json
@click.pass_context
def bench(ctx: click.Context, where: bool, as_json: bool) -> None:
    """Show the set-up of this bench, or write it: 'tensionlog bench set'."""
    if ctx.invoked_subcommand is not None:
        return
    if where:
        click.echo(settings_path())
        return
    settings = load_settings()
    if as_json:
        json_line(_as_json(settings))
        return
    there = settings_path().exists()
    click.echo(settings_text(settings), nl=False)
    said = "From" if there else "Not written yet; 'tensionlog bench set' writes it to"
    click.echo(f"{said} {settings_path()}", err=True)


@bench.command("set")
@click.option("--name", "bench", help="Name of the bench; it tells its recordings apart.")
@click.option("--port", help="Port of the device, such as /dev/ttyACM0 or COM3.")
@click.option("--baud", type=int, help="Bits per second.")
@click.option(
    "--head",
    "tensioner",
    type=click.Choice(["lockout", "constant-pull", "drop-weight"]),
    help="Kind of tension head.",
)
@click.option("--tail-m", type=float, help="String from frame to gripper, metres.")
@click.option("--rate-hz", type=float, help="Samples per second.")
@click.option("--adc-bits", type=int, help="Width of the converter.")
@click.option("--zero-counts", type=float, help="Calibration: reading of the empty cell.")
@click.option("--counts-per-n", type=float, help="Calibration: counts for one newton.")
@click.option("--polynomial", help="Calibration: counts to newtons, rising powers, as JSON.")
@click.option("--calibration-name", help="What the calibration is called.")
@click.option("--calibration-date", help="When it was made, such as 2026-03-02.")
@click.option("--pattern", help="Another sketch's lines: expression with a group 'value'.")
@click.option("--plain-unit", help="Unit of that sketch's values, such as kg.")
@click.option("--unit", type=click.Choice(["lbf", "kgf", "N"]), help="Unit people order in.")
@click.option("--operator", help="Who strings here.")
@click.option("--recordings", help="Folder of the recordings.")
@click.option("--database", help="File of the database.")
def set_up(
    zero_counts: float | None,
    counts_per_n: float | None,
    polynomial: str | None,
    calibration_name: str | None,
    calibration_date: str | None,
    **changes: Any,
) -> None:
    """Write the set-up of this bench; what is not named stays as it was."""
    settings = load_settings()
    stated: dict[str, Any] = dict(settings.calibration or {})
    if polynomial is not None:
        stated = {"polynomial": _numbers(polynomial)}
    if zero_counts is not None or counts_per_n is not None:
        stated.pop("polynomial", None)
    new = {
        "zero_counts": zero_counts,
        "counts_per_N": counts_per_n,
        "name": calibration_name,
        "date": calibration_date,
    }
    stated |= {key: value for key, value in new.items() if value is not None}
    path = save_settings(settings.with_changes({**changes, "calibration": stated or None}))
    click.echo(f"Written: {path}")


def _numbers(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError as error:
        raise click.BadParameter(f"{text!r} is not a JSON list such as [0.1, 1e-4].") from error


def _as_json(settings: Any) -> dict[str, Any]:
    from dataclasses import asdict

    return {"path": str(settings_path()), **asdict(settings)}
