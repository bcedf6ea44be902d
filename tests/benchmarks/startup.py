"""How soon each command answers, by the clock on the wall."""

import sys
from collections.abc import Iterator

from tests.benchmarks.data import Scale
from tests.benchmarks.measured import Row
from tests.benchmarks.replay import wall_s


def rows(scale: Scale) -> Iterator[Row]:
    """`--help` of the program and of every command against a bare interpreter."""
    from tensionlog.cli.app import main

    bare_s = wall_s([sys.executable, "-c", "pass"], scale.times)
    commands = ["", *sorted(main.commands)] if scale.times > 1 else ["", "replay"]
    for name in commands:
        ours_s = wall_s(
            [sys.executable, "-m", "tensionlog", *name.split(), "--help"], scale.times
        )
        yield Row(
            group="start-up",
            what=f"`tensionlog {name} --help`" if name else "the list of commands (`--help`)",
            figure=ours_s * 1e3, unit="ms", peer="`python -c pass`", peer_figure=bare_s * 1e3,
        )  # fmt: skip
