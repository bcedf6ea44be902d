"""A device's port, listened to: what the commands of `device` have in common."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from tensionlog.cli.say import json_line, one_line
from tensionlog.errors import UsageError

if TYPE_CHECKING:
    from tensionlog.device.heard import Heard
    from tensionlog.device.identity import Identity
    from tensionlog.pipeline.listen import Listener
    from tensionlog.settings import BenchSettings

ANSWER_WITHIN_S = 5.0
"""A board whose reset hangs on DTR starts anew when its port is opened: two seconds."""

CLOCK_S = time.monotonic
"""What the device's clock is held against."""

PORT_HELP = "Port or URL; else the bench's."


def port_of(settings: "BenchSettings") -> str:
    """The port that was named, or the bench's.

    Raises:
        UsageError: Neither is there.
    """
    if settings.port is None:
        raise UsageError("which port? Give --port; 'tensionlog ports' lists what is there.")
    return settings.port


@contextmanager
def listening(url: str, baud: int) -> "Iterator[Listener]":
    """Open a port and listen to it.

    Raises:
        LinkError: It cannot be opened.
    """
    from tensionlog.pipeline.listen import Listener
    from tensionlog.sources import serial_port

    with serial_port.open_port(url, baud=baud) as opened:
        yield Listener(opened, clock_s=CLOCK_S)


def say_identity(url: str, heard: "Heard", who: "Identity", *, as_json: bool) -> None:
    """Say who answers at a port; on stderr where it is nobody to record from."""
    from tensionlog.device.words import identity_words

    example = heard.plain_lines[-1] if heard.plain_lines else ""
    text = one_line(identity_words(who, bytes_read=heard.bytes_read, example=example))
    if as_json:
        hello = None if who.hello is None else who.hello._asdict()
        json_line({"port": url, "state": who.state, "hello": hello, "text": text})
    else:
        click.echo(f"{url}: {text}", err=not who.is_usable)
