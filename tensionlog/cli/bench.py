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
@click.option("--device", help="Id of the bench's own device; no other is recorded.")
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
@click.option("--workshop", help="Name of the workshop, for slips.")
@click.option("--restring-days", type=int, help="Days to the next restring, for slips.")
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


@bench.command("check")
@click.option("--reference", type=click.Choice(["masses", "scale"]), help="What it hangs on.")
@click.option("--masses", "masses_kg", help="Pieces of the set, kilograms, such as 5,10,20.")
@click.option("--mass-class", help="Their tolerance class, such as M2 (OIML R 111).")
@click.option("--u-mass-pct", type=float, help="Own plates weighed: standard uncertainty, %.")
@click.option("--u-scale-pct", type=float, help="Reference scale: its certificate's, %.")
@click.option("--u-scale-n", "u_scale_N", type=float, help="Reference scale: reading, N.")
@click.option("--scale-unit", type=click.Choice(["lbf", "kgf", "N"]), help="What it shows.")
@click.option("--gravity", type=float, help="Free fall here, m/s2, where it was measured.")
@click.option("--latitude", "latitude_deg", type=float, help="Of the bench, degrees.")
@click.option("--height", "height_m", type=float, help="Of the bench above the sea, metres.")
@click.option("--rated-n", "rated_N", type=float, help="Greatest force the cell may carry, N.")
@click.option("--tolerance-pct", type=float, help="Of a load; else 0.5.")
@click.option("--tolerance-floor-n", "tolerance_floor_N", type=float, help="Else 0.3 N.")
@click.option("--pulley-factor", type=float, help="What a pulley leaves of the force.")
@click.option("--u-pulley-pct", type=float, help="Its standard uncertainty, %.")
@click.option("--daily", "daily_kg", help="Hung on ordinary mornings, kilograms, such as 10.")
@click.option("--weekly", "weekly_kg", help="Hung weekly, in order, such as 5,10,20,10,5.")
@click.option("--daily-dials", "daily_dials_N", help="Dial settings, such as 24 (with --unit).")
@click.option("--weekly-dials", "weekly_dials_N", help="The same of the weekly part.")
@click.option("--every", "full_every_days", type=int, help="Days between weekly parts.")
@click.option("--in-place/--elsewhere", "in_place", default=None, help="Where the load hangs.")
@click.option("--clamps", help="Names of the clamps, such as A,B.")
@click.option("--hold-target", "hold_target_N", type=float, help="Of hold tests (with --unit).")
@click.option("--hold-span-m", type=float, help="From anchor to clamp, metres.")
@click.option("--hold-ea", "hold_EA_N", type=float, help="Stiffness of the control reel, N.")
@options.own_unit
def set_check(unit: str | None, **stated: Any) -> None:
    """Write how this bench is checked; what is not named stays as it was."""
    from tensionlog.check.setup import setup_from_table
    from tensionlog.units import N_PER_UNIT

    settings = load_settings()
    per_unit = N_PER_UNIT[unit or settings.unit]
    new = {key: _listed(key, value) for key, value in stated.items() if value is not None}
    for key in ("daily_dials_N", "weekly_dials_N", "hold_target_N"):
        if key in new:
            some = new[key]
            new[key] = (
                [round(x * per_unit, 3) for x in some]
                if isinstance(some, list)
                else round(some * per_unit, 3)
            )
    table = {**(settings.check or {}), **new}
    setup_from_table(table)
    click.echo(f"Written: {save_settings(settings.with_changes({'check': table}))}")


@bench.command("alerts")
@click.option("--watch-mm", type=float, help="Give from which a clamp is watched; else 1.0.")
@click.option("--service-mm", type=float, help="Give from which it is serviced; else 1.8.")
@click.option("--slip-n", type=float, help="Sudden step that makes it watched; else 1.0.")
@click.option("--creep-watch", "creep_watch_n_per_s", type=float, help="N/s; else 0.05.")
@click.option("--creep-service", "creep_service_n_per_s", type=float, help="N/s; else 0.15.")
@click.option("--notify", "urls", multiple=True, help="Whom to tell, such as mailto://…")
@click.option("--notify-nobody", is_flag=True, help="Tell nobody any more.")
def set_alerts(urls: tuple[str, ...], notify_nobody: bool, **limits: float | None) -> None:
    """Write what is expected of the clamps, and whom a new alert is told.

    Limits hold at the force of the hold test. The addresses of --notify are those of the
    notification library: mail, chat, desktop; 'pip install tensionlog[notify]' brings it.
    """
    settings = load_settings()
    new = {key: value for key, value in limits.items() if value is not None}
    changes: dict[str, Any] = {"hold_limits": {**(settings.hold_limits or {}), **new} or None}
    if urls or notify_nobody:
        changes["notify"] = {"urls": list(urls)}
    click.echo(f"Written: {save_settings(settings.with_changes(changes))}")


def _listed(key: str, value: Any) -> Any:
    """A list that was typed with commas; names for clamps, numbers for all others."""
    if not isinstance(value, str) or key in ("reference", "mass_class", "scale_unit"):
        return value
    pieces = [piece.strip() for piece in value.split(",") if piece.strip()]
    if key == "clamps":
        return pieces
    try:
        return [float(piece) for piece in pieces]
    except ValueError as error:
        raise click.BadParameter(f"{value!r} is no list of numbers such as 5,10,20.") from error


def _numbers(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError as error:
        raise click.BadParameter(f"{text!r} is not a JSON list such as [0.1, 1e-4].") from error


def _as_json(settings: Any) -> dict[str, Any]:
    from dataclasses import asdict

    return {"path": str(settings_path()), **asdict(settings)}
