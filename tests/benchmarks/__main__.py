"""`python -m tests.benchmarks`: measure, print a table, write the figures as JSON."""

import argparse
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks import decode, finding, keeping, live, replay, startup
from tests.benchmarks.data import FULL, QUICK, Scale, jobs
from tests.benchmarks.measured import Row, machine, table, write_json

GROUPS = ("decode", "replay", "pulls", "store", "startup", "live")


def measured(scale: Scale, groups: list[str]) -> Iterator[Row]:
    """All rows of the groups named."""
    with TemporaryDirectory() as folder:
        made = jobs(Path(folder), scale) if {"replay", "pulls", "store"} & {*groups} else {}
        if "decode" in groups:
            yield from decode.rows(scale)
        if "replay" in groups:
            yield from replay.rows(made, scale)
        if "pulls" in groups:
            yield from finding.rows(made, scale)
        if "store" in groups:
            yield from keeping.rows(next(iter(made.values()))[0], scale)
    if "startup" in groups:
        yield from startup.rows(scale)
    if "live" in groups:
        yield from live.rows(scale)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("groups", nargs="*", help=f"of {', '.join(GROUPS)}; all without one")
    parser.add_argument("--quick", action="store_true", help="little data, once: does it run")
    parser.add_argument(
        "--json", type=Path, default=Path("benchmarks.json"), help="the figures"
    )
    how = parser.parse_args()
    if not {*how.groups} <= {*GROUPS}:
        parser.error(f"groups are {', '.join(GROUPS)}")
    rows = list(measured(QUICK if how.quick else FULL, how.groups or [*GROUPS]))
    write_json(rows, how.json)
    print(f"{machine()}\n\n{table(rows)}")  # noqa: T201 - this is what it is for


if __name__ == "__main__":
    main()
