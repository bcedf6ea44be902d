"""`tensionlog ports`: what is plugged in."""

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line, one_line


@click.command(short_help="List the serial ports that are plugged in.")
@options.as_json
def ports(as_json: bool) -> None:
    """List the serial ports that are plugged in."""
    from tensionlog.sources.serial_port import list_ports

    found = list_ports()
    for port in found:
        if as_json:
            json_line(port._asdict())
        else:
            click.echo(one_line(f"{port.path}  {port.description}  {port.stable_path or ''}"))
    if not found:
        click.echo("No serial port is plugged in. Check cable and driver.", err=True)
