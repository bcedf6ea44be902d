"""What every command needs to say things: JSON lines, warnings, progress."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

import click


class Progress(Protocol):
    """What a progress bar can be told."""

    def update(self, n_steps: int) -> None:
        """Say that so many steps more are done."""


def json_line(answer: Any) -> None:
    """Print one JSON value as one line; NaN is refused, since JSON has no word for it."""
    click.echo(json.dumps(answer, ensure_ascii=False, allow_nan=False))


def warn(text: str) -> None:
    """Say something on stderr that does not change the exit code."""
    click.echo(f"Warning: {one_line(text)}", err=True)


def failed(error: Exception) -> None:
    """Say on stderr what went wrong with one of several things."""
    click.echo(f"Error: {one_line(str(error))}", err=True)


def one_line(text: str) -> str:
    r"""A text from outside as one line that cannot move a cursor.

    >>> one_line("no\n\x1b[31mfile")
    'no ?[31mfile'
    """
    return "".join(c if c.isprintable() else "?" for c in " ".join(text.split()))


@contextmanager
def progress(total: int, label: str) -> Iterator[Progress]:
    """A bar on stderr while work goes on; nothing where stderr is no terminal."""
    hidden = not sys.stderr.isatty()
    bar: Any = click.progressbar(length=total, label=label, file=sys.stderr, hidden=hidden)
    with bar:
        yield bar
