"""The commands under one name."""

import errno
import os
import sys

import click

from tensionlog import __version__
from tensionlog.cli.lazily import Lazily
from tensionlog.cli.say import one_line
from tensionlog.errors import TensionlogError, UsageError

PLACES = {
    "alerts": "alerts",
    "backup": "backup",
    "bench": "bench",
    "calibration": "calibration",
    "check": "check",
    "clamps": "clamps",
    "demo": "demo",
    "device": "device_check:device",  # where `device check` has added itself
    "dial": "dial",
    "doctor": "doctor",
    "drift": "drift",
    "export": "export",
    "forget": "forget",
    "hold": "hold",
    "import": "backup:import_",
    "ports": "ports",
    "rebuild": "rebuild",
    "recompute": "calibration:recompute",
    "record": "record",
    "replay": "replay",
    "report": "report",
    "restore": "backup:restore",
    "return": "return_:return_",
    "serve": "serve",
    "service": "service",
    "status": "status",
    "trace": "trace",
    "verify": "verify",
}
"""Each command and its file: a command of its own name, unless another is said."""


NO_BUG = {
    getattr(errno, name, None)
    for name in "ENAMETOOLONG ELOOP EACCES EPERM ENOTDIR ENOSPC EROFS EIO EDQUOT".split()
} - {None}
"""What the system says of names, rights and disks, wherever it says it."""

LONGEST_ERROR = 500


class _FriendlyErrors(click.Group):
    """Show our own errors as one line; let bugs keep their traceback."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except UsageError as error:
            raise click.UsageError(one_line(str(error))) from error
        except TensionlogError as error:
            raise click.ClickException(one_line(str(error))) from error
        except BrokenPipeError:
            _forget_stdout()
            return None
        except OSError as error:
            if error.errno not in NO_BUG:
                raise
            where = f"{error.filename}: " if error.filename else ""
            said = f"{where}{error.strerror}. Choose another name or place."
            raise click.ClickException(one_line(said)[:LONGEST_ERROR]) from error


def _forget_stdout() -> None:
    """Whoever read our output has gone (`| head`): nothing is left to say."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@click.group(
    cls=_FriendlyErrors,
    commands=Lazily(PLACES),
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, prog_name="tensionlog")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Tension-loss data logger for a racket-stringing machine.

    Records every pull, reads the string as the clamp is released, and compares it
    with its target. The reading is not a safety device. Without a command: where this
    bench stands, and what comes next.
    """
    if ctx.invoked_subcommand is None:
        from tensionlog.cli.where import say_where

        say_where()
