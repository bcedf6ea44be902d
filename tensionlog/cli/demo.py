"""`tensionlog demo`: a whole job, live, on a bench made of numbers."""

import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.record import store_sitting
from tensionlog.cli.report import write_page
from tensionlog.cli.session import Session
from tensionlog.errors import TensionlogError

if TYPE_CHECKING:
    from tensionlog.pipeline.live import Live
    from tensionlog.pipeline.sitting import Whole
    from tensionlog.store import Store
    from tensionlog.twin import Played

PACE = 100.0
"""How much faster than a real stringer the twin works."""

IDLE_AFTER_S = 3.0
"""Time on the bench's clock from the last note to the end of the recording."""

WORN_CLAMP, WORN_SLIP_MM = "B", 2.0


class FastClock:
    """One clock for everything in the demo: device, host and operator.

    It runs `pace` times as fast as the real one, so the recording's times are those of a
    real job. It begins in the past and so ends about now.
    """

    def __init__(self, *, pace: float, lasts_s: float) -> None:
        self._pace = pace
        self._real_s = time.monotonic()
        self._utc_s = time.time() - lasts_s

    def monotonic_s(self) -> float:
        """Seconds since the demo began, on its own clock."""
        return (time.monotonic() - self._real_s) * self._pace

    def utc_s(self) -> float:
        """UTC on the demo's own clock, seconds since 1970."""
        return self._utc_s + self.monotonic_s()


@click.command(short_help="String a racket on a simulated bench, live, and report it.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("tensionlog-demo"),
    show_default=True,
    help="Where recording, database and report go.",
)
@click.option("--seed", type=int, default=7, show_default=True, help="Draws the job.")
@click.option(
    "--head",
    type=click.Choice(["lockout", "constant-pull", "drop-weight"]),
    default="lockout",
    show_default=True,
    help="Kind of tension head.",
)
@click.option("--season", is_flag=True, help="Sixty days instead: checks, clamps, jobs.")
@click.option("--check", is_flag=True, help="A daily and a weekly check instead, unattended.")
@click.option("--page", is_flag=True, help="Serve the bench page instead, for you to drive.")
@click.option("--pace", type=float, default=3.0, show_default=True, help="Pace of --page.")
@click.option("--page-port", type=int, default=8737, show_default=True, help="Port of --page.")
@click.option("--open", "opens", is_flag=True, help="Open the page in a browser.")
@options.unit
@options.as_json
def demo(
    folder: Path,
    seed: int,
    head: str,
    season: bool,
    check: bool,
    page: bool,
    pace: float,
    page_port: int,
    opens: bool,
    unit: str,
    as_json: bool,
) -> None:
    """String a racket on a bench made of numbers, and report it.

    A simulated bench streams over a pseudo-terminal (where the system has none, over
    a local socket); the code that records a real one
    records it live, stores it, verifies it and writes its report. Workshop, player,
    frame and string are invented. With --season sixty days of recordings are played,
    stored and reported instead: a clamp wears and is cleaned, a cell drifts and is
    calibrated anew.
    """
    if season:
        from tensionlog.cli.season import play

        play(folder / f"season-{seed}", seed=seed, as_json=as_json)
        return
    if check:
        from tensionlog.cli.demo_check import demo_check

        demo_check(folder, seed=seed, head=head, unit=unit, as_json=as_json)
        return
    if page:
        from tensionlog.cli.demo_page import serve_demo

        serve_demo(
            folder,
            seed=seed,
            head=head,
            unit=unit,
            pace=pace,
            page_port=page_port,
            opens=opens,
        )
        return
    click.echo(
        "A bench made of numbers: workshop, player, frame and string are invented, and "
        f"the\njob runs {PACE:g} times as fast as a real one. Clamp {WORN_CLAMP} is worn.",
        err=True,
    )
    played = _play(seed, head)
    session = Session(port="the twin", baud=115_200, unit=unit, as_json=as_json)
    whole, paths = _record(played, folder, session)
    db = folder / "demo.db"
    store_sitting(whole, paths, db)
    _prove(paths[0], db)
    _report(db, folder, unit, as_json)


def _play(seed: int, head: str) -> "Played":
    from tensionlog.twin import draw_bench, play_job

    bench = draw_bench(seed, head=head)
    worn = replace(bench.clamps[WORN_CLAMP], slip_mm=WORN_SLIP_MM)
    return play_job(
        seed=seed,
        sport="badminton",
        bench=bench.with_clamp(worn),
        mishaps={"R4": "redo"},
        pace=0.6,
    )


def _record(played: "Played", folder: Path, session: Session) -> tuple["Whole", list[Path]]:
    """Stream the job over a pseudo-terminal and record it live."""
    from tensionlog.pipeline.live import Live

    script = Script(played.recording)
    clock = FastClock(pace=PACE, lasts_s=script.lasts_s)
    with _served(played, clock) as url, Live(_capture(script, folder, url, clock)) as live:
        operator = Operator(script, live, clock)
        session.follow(live, notes=operator.notes, goes_on=operator.is_busy)
        told, whole = live.finish()
        for last in told:
            session.say(last)
    recorder = live.capture.recorder
    if recorder is None or whole is None:
        raise TensionlogError("the twin never spoke. That is a bug: please report it.")
    return whole, recorder.paths


@contextmanager
def _served(played: "Played", clock: FastClock) -> Iterator[str]:
    """The bench as a port; what to open."""
    from tensionlog.twin.network_link import served_on_network

    rate_hz = Script(played.recording).header["rate_hz"]
    device = {"clock": clock.monotonic_s, "rate_hz": rate_hz}
    if os.name != "posix":  # no pseudo-terminals there
        with served_on_network(lambda _hz: played.recording, **device) as url:
            yield url
        return
    from tensionlog.twin.pty_link import served

    with served(lambda _hz: played.recording, **device) as link:
        yield link.path


def _capture(script: "Script", folder: Path, url: str, clock: FastClock) -> Any:
    from tensionlog.pipeline.capture import Capture
    from tensionlog.recorder import Disk, Recorder
    from tensionlog.sources.serial_port import open_port

    disk = Disk(utc_s=clock.utc_s, monotonic_s=clock.monotonic_s)
    return Capture(
        port=open_port(url),
        reopen=lambda: open_port(url),
        make_recorder=lambda: Recorder(folder, script.header, disk=disk),
        utc_s=clock.utc_s,
    )


class Script:
    """What a played recording says of its bench and of its operator.

    Attributes:
        header: The header, without its start time.
        notes: (seconds from the first bytes, note), in order of time.
        lasts_s: Seconds to the end of the job.
    """

    def __init__(self, recording: bytes) -> None:
        lines = recording.split(b"\n")
        self.header: dict[str, Any] = json.loads(lines[1][2:])
        self.header.pop("started")
        first_s = next(_utc_s(x[2:].decode()) for x in lines if x.startswith(b"@ "))
        bodies = [json.loads(x[2:]) for x in lines if x.startswith(b"! ")]
        self.notes = [(_utc_s(body.pop("at")) - first_s, body) for body in bodies]
        self.lasts_s = self.notes[-1][0] + IDLE_AFTER_S


class Operator:
    """Whoever strings: gives the script's notes when their time has come."""

    def __init__(self, script: Script, live: "Live", clock: FastClock) -> None:
        self._left = list(script.notes)
        self._lasts_s = script.lasts_s
        self._live, self._clock = live, clock

    def notes(self) -> list[dict[str, Any]]:
        """Notes that are due, each with the moment at which it acts."""
        first_s, now_s = self._live.first_arrival_s, self._now_s()
        due = []
        while first_s is not None and self._left and self._left[0][0] <= now_s:
            at_s, body = self._left.pop(0)
            due.append({"at": _iso(first_s + at_s), **body})
        return due

    def is_busy(self) -> bool:
        """Whether the job still goes on."""
        return bool(self._left) or self._now_s() < self._lasts_s

    def _now_s(self) -> float:
        first_s = self._live.first_arrival_s
        return 0.0 if first_s is None else self._clock.utc_s() - first_s


def _utc_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def _iso(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="microseconds")


def _prove(path: Path, db: Path) -> None:
    """Check the law on what was just recorded and stored, and say so."""
    from tensionlog.cli.verify import verified, verified_text
    from tensionlog.sources.recording import open_recording
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        result = verified(open_recording(path), store)
    click.echo(verified_text(result), err=True)
    if not result["holds"]:
        raise TensionlogError("the demo did not keep the law. Please report it.")


def _report(db: Path, folder: Path, unit: str, as_json: bool) -> None:
    from tensionlog.cli.say import json_line
    from tensionlog.pipeline.views import job_view
    from tensionlog.report.answer import job_json
    from tensionlog.report.summary import summary
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        view = job_view(store, _latest(store), unit=unit)
    page = write_page(view, folder)
    numbers = page.with_suffix(".json")
    numbers.write_text(json.dumps(job_json(view), indent=1) + "\n", encoding="utf-8")
    if as_json:
        json_line(job_json(view))
    else:
        click.echo(f"\n{summary(view)}", nl=False)
    click.echo(_next_steps(page, numbers, db), err=True)


def _latest(store: "Store") -> Any:
    return store.jobs()[-1]


def _next_steps(page: Path, numbers: Path, db: Path) -> str:
    return (
        f"\nOpen {page} in a browser; the same numbers: {numbers}\n"
        f"Another unit: tensionlog report --db {db} --unit lbf\n"
        "The morning check: tensionlog demo --check\n"
        "Your own bench: tensionlog ports, then tensionlog bench set --help, then\n"
        "tensionlog record --port … --mains 22 --crosses 21 --tension 26/24"
    )
