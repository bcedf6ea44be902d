"""The commands under one name."""

import os
import sys

import click

from tensionlog import __version__
from tensionlog.cli.alerts import alerts
from tensionlog.cli.bench import bench
from tensionlog.cli.calibration import calibration, recompute
from tensionlog.cli.check import check
from tensionlog.cli.clamps import clamps
from tensionlog.cli.demo import demo
from tensionlog.cli.device import device
from tensionlog.cli.device_check import check as _  # noqa: F401 - adds itself to `device`
from tensionlog.cli.dial import dial
from tensionlog.cli.drift import drift
from tensionlog.cli.export import export
from tensionlog.cli.hold import hold
from tensionlog.cli.ports import ports
from tensionlog.cli.rebuild import rebuild
from tensionlog.cli.record import record
from tensionlog.cli.replay import replay
from tensionlog.cli.report import report
from tensionlog.cli.return_ import return_
from tensionlog.cli.say import one_line
from tensionlog.cli.serve import serve
from tensionlog.cli.service import service
from tensionlog.cli.status import status
from tensionlog.cli.trace import trace
from tensionlog.cli.verify import verify
from tensionlog.errors import TensionlogError, UsageError


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


def _forget_stdout() -> None:
    """Whoever read our output has gone (`| head`): nothing is left to say."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@click.group(cls=_FriendlyErrors, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="tensionlog")
def main() -> None:
    """Tension-loss data logger for a racket-stringing machine.

    Records every pull, reads the string as the clamp is released, and compares it
    with its target. The reading is not a safety device.
    """


COMMANDS = (
    demo, ports, device, bench, record, check, hold, calibration, recompute, dial, trace,
    drift, replay, report, status, alerts, service, clamps, return_, verify, export, rebuild,
    serve,
)  # fmt: skip
for command in COMMANDS:
    main.add_command(command)
