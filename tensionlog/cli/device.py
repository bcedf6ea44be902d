"""`tensionlog device`: who is at the other end of the cable, and is it in order?"""

import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.device_port import (
    ANSWER_WITHIN_S,
    PORT_HELP,
    listening,
    port_of,
    say_identity,
)
from tensionlog.cli.say import json_line, one_line
from tensionlog.errors import LinkError

if TYPE_CHECKING:
    from tensionlog.device.heard import Heard
    from tensionlog.device.identity import Identity
    from tensionlog.settings import BenchSettings


@click.group(short_help="Look at the device: who it is, its rate, noise and wiring.")
def device() -> None:
    """Look at the device at the other end of the cable.

    'identify' asks who it is, 'rate' sets its sample rate, 'watch' shows its buttons and
    faults as they come, 'check' measures the empty cell and says what is wrong with it.
    """


@device.command(short_help="Ask who is there, on one port or on all.")
@click.option("--port", "ports", multiple=True, help=f"{PORT_HELP} More than one may be given.")
@click.option("--all", "every", is_flag=True, help="Every port that is plugged in.")
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@options.as_json
def identify(ports: tuple[str, ...], every: bool, baud: int | None, as_json: bool) -> None:
    """Ask who is there.

    With several ports it also says whether two devices have one name.
    """
    from tensionlog.device.identity import shared_names
    from tensionlog.device.words import shared_words

    settings = load_settings().with_changes({"baud": baud})
    found = {}
    for url in _every(ports, every, settings):
        heard, found[url] = _who(url, settings.baud)
        say_identity(url, heard, found[url], as_json=as_json)
    shared = shared_names(found)
    for name, places in shared.items():
        click.echo(one_line(shared_words(name, places)), err=True)
    if shared or not all(who.is_usable for who in found.values()):
        sys.exit(1)


@device.command(short_help="Ask the device for a sample rate.")
@click.argument("hertz", type=float)
@click.option("--port", help=PORT_HELP)
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
def rate(hertz: float, port: str | None, baud: int | None) -> None:
    """Ask the device for HERTZ samples per second.

    A rate that the line cannot carry is refused with the figure.
    """
    from tensionlog.device.rates import check_rate
    from tensionlog.pipeline.listen import set_rate

    settings = load_settings().with_changes({"port": port, "baud": baud})
    check_rate(hertz, baud=settings.baud, adc_bits=settings.adc_bits or 24)
    with listening(port_of(settings), settings.baud) as listener:
        hello, remarks = set_rate(listener, hertz, at_most_s=ANSWER_WITHIN_S)
    if hello is None:
        raise LinkError(
            f"{settings.port} did not answer. Its firmware may not know 'R,<rate>': set "
            "the rate at the converter."
        )
    for remark in remarks:
        click.echo(f"The device says: {one_line(remark)}", err=True)
    if abs(hello.rate_hz - hertz) > 1e-6 * hertz:
        raise LinkError(f"{hello.device} stays at {hello.rate_hz:g} samples/s.")
    click.echo(f"{one_line(hello.device)} now takes {hello.rate_hz:g} samples/s.")


@device.command(short_help="Show buttons, levers and faults as they come.")
@click.option("--port", help=PORT_HELP)
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option("--seconds", type=float, help="Stop after so long; else Ctrl-C does.")
@options.as_json
def watch(port: str | None, baud: int | None, seconds: float | None, as_json: bool) -> None:
    """Show buttons, levers, faults and remarks as they come, and count the readings."""
    from tensionlog.pipeline.listen import is_shown

    settings = load_settings().with_changes({"port": port, "baud": baud})
    with listening(port_of(settings), settings.baud) as listener:
        with suppress(KeyboardInterrupt):
            for line in listener.listen(float("inf") if seconds is None else seconds):
                if is_shown(line):
                    _say_line(line, as_json=as_json)
    heard = listener.heard()
    click.echo(
        f"{heard.samples} readings in {heard.lasted_s:.1f} s, {heard.missing} missing, "
        f"{heard.bad_lines} damaged lines",
        err=True,
    )


def _say_line(line: Any, *, as_json: bool) -> None:
    kind, fields = type(line).__name__.lower(), line._asdict()
    if as_json:
        json_line({"kind": kind, **fields})
        return
    said = "  ".join(f"{key} {value}" for key, value in fields.items())
    click.echo(one_line(f"{kind}: {said}"))
    sys.stdout.flush()


def _every(ports: tuple[str, ...], every: bool, settings: "BenchSettings") -> list[str]:
    from tensionlog.sources.serial_port import list_ports

    if not every:
        return list(ports) or [port_of(settings)]
    found = [port.path for port in list_ports()]
    if not found:
        raise LinkError("no serial port is plugged in. Check cable and driver.")
    return [*found, *(port for port in ports if port not in found)]


def _who(url: str, baud: int) -> "tuple[Heard, Identity]":
    from tensionlog.device.identity import identity_of
    from tensionlog.pipeline.listen import identify as ask

    with listening(url, baud) as listener:
        heard = ask(listener, at_most_s=ANSWER_WITHIN_S)
    return heard, identity_of(heard)
