"""`tensionlog serve`: the bench page, on this machine unless told otherwise."""

import time
import webbrowser
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.check import guide_for
from tensionlog.cli.notify import tell_of
from tensionlog.cli.one_server import Claim, only_server
from tensionlog.cli.say import warn
from tensionlog.errors import LinkError, UsageError

if TYPE_CHECKING:
    from tensionlog.page.library import Library
    from tensionlog.page.serve import Server
    from tensionlog.page.words import Words
    from tensionlog.pipeline.archive import Archive
    from tensionlog.pipeline.bench import Bench
    from tensionlog.pipeline.bench_capture import BenchCapture
    from tensionlog.pipeline.guide import Guide
    from tensionlog.recorder import Disk
    from tensionlog.settings import BenchSettings

PAGE_PORT = 8737
GO_ON_WITHIN = timedelta(hours=12)
"""A job that was left open longer ago than a working day was left on purpose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """What time it is, for the bench; a demo's runs faster.

    Attributes:
        monotonic_s: Seconds that never jump.
        utc_s: Seconds since 1970, UTC.
    """

    monotonic_s: Callable[[], float] = time.monotonic
    utc_s: Callable[[], float] = time.time


@click.command(short_help="Open the bench page: a job from ticket to slip.")
@click.option("--port", help="Port or URL of the device; else the bench's.")
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option(
    "--page-port",
    type=click.IntRange(0, 65535),
    default=PAGE_PORT,
    show_default=True,
    help="Port of the page; 0 takes a free one.",
)
@click.option("--folder", type=click.Path(path_type=Path), help="Where recordings go.")
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option("--language", default="en", show_default=True, help="Language of the page.")
@click.option("--foot", default="PageDown", show_default=True, help="Key of the foot switch.")
@click.option("--open/--no-open", "opens", default=False, help="Open the page in a browser.")
@options.own_unit
def serve(
    port: str | None,
    baud: int | None,
    host: str,
    page_port: int,
    folder: Path | None,
    db: Path | None,
    language: str,
    foot: str,
    opens: bool,
    unit: str | None,
) -> None:
    """Open the bench page: ticket, inspection, every string, slip, history.

    It listens on this machine only, unless --host names another address; then a token
    is shown here, and the page's address carries it. A job that the server was stopped
    in goes on where it was.
    """
    settings = load_settings().with_changes({"port": port, "baud": baud, "unit": unit})
    folder = folder or settings.recordings_folder
    with only_server(folder, settings.bench) as claim:
        capture = _capture(settings)
        with page_server(
            settings,
            capture=capture,
            folder=folder,
            db=db or settings.database_path,
            host=host,
            page_port=page_port,
            language=language,
            foot=foot,
        ) as server:
            server.run(lambda at: _say_where(server, host, at, claim, opens))


def _say_where(server: "Server", host: str, port: int, claim: Claim, opens: bool) -> None:
    shown = "127.0.0.1" if host in ("0.0.0.0", "::", "") else host
    address = f"http://[{shown}]:{port}/" if ":" in shown else f"http://{shown}:{port}/"
    claim.at(address)
    token = server.shell.guard.token
    full = address if token is None else f"{address}?token={token}"
    click.echo(f"The bench page is at {full}")
    if token is not None:
        click.echo(
            "Whoever has this address can drive the page. On another device put this "
            "machine's own address in its place.",
            err=True,
        )
    if opens:
        webbrowser.open(full)


def _capture(settings: "BenchSettings") -> "BenchCapture":
    from tensionlog.pipeline.bench_capture import BenchCapture
    from tensionlog.sources.serial_port import newcomers, open_port, stable_url

    if settings.port is None:
        raise UsageError("which port? Give --port; 'tensionlog ports' lists what is there.")
    if settings.calibration is None and settings.pattern is None:
        warn("this bench has no calibration: readings are counts, and nothing is judged.")
    url, baud = settings.port, settings.baud
    try:
        opened = open_port(url, baud=baud)
    except LinkError as error:
        warn(f"{error} The page says so until it is there.")
        opened = None
    again = stable_url(url)
    return BenchCapture(
        port=opened,
        reopen=lambda: open_port(again, baud=baud),
        asks=settings.pattern is None,
        device=settings.device,
        newcomers=newcomers(baud=baud),
        clock_s=time.monotonic,
        utc_s=time.time,
    )


@contextmanager
def page_server(
    settings: "BenchSettings",
    *,
    capture: "BenchCapture",
    folder: Path,
    db: Path | None,
    host: str = "127.0.0.1",
    page_port: int = 0,
    language: str = "en",
    foot: str = "PageDown",
    clock: Clock | None = None,
    disk: "Disk | None" = None,
    header: Mapping[str, Any] | None = None,
) -> Iterator["Server"]:
    """Put bench, desk, archive and server together; the bench is followed inside.

    Args:
        settings: Of the bench.
        capture: Its port.
        folder: Where recordings go.
        db: The database, or None.
        host: Address to listen at.
        page_port: Port of the page.
        language: Of the texts.
        foot: Key of the foot switch.
        clock: The bench's; a demo's runs faster.
        disk: The recorder's machine; a demo's has the same clock.
        header: Stands in place of the settings' own header.
    """
    from tensionlog.page.app import Shell
    from tensionlog.page.clients import Clients
    from tensionlog.page.desk import Desk
    from tensionlog.page.guard import guard_for
    from tensionlog.page.serve import Server
    from tensionlog.page.words import words_of
    from tensionlog.pipeline.archive import Archive
    from tensionlog.pipeline.bench import Bench
    from tensionlog.recorder import Recorder
    from tensionlog.sources.header import idle_header

    clock = clock or Clock()
    stated = dict(header or settings.header(purpose="job"))
    archive = Archive(db, failed=warn)
    urls = (settings.notify or {}).get("urls", [])
    archive.on_alerts = lambda events: tell_of(events, urls)
    words = words_of(language)
    bench = Bench(
        capture,
        idle_header=idle_header({**stated, "purpose": "free"}),
        phi_max=lambda: archive.phi_max(settings.bench),
    )
    desk = Desk(
        bench,
        words=words,
        unit=settings.unit,
        make_recorder=lambda purpose: Recorder(
            folder, {**stated, "purpose": purpose}, disk=disk
        ),
        archive=archive,
        new_ref=lambda: f"J-{datetime.fromtimestamp(clock.utc_s(), UTC):%y%m%d-%H%M%S}",
        make_guide=lambda kind, command: guide_of(kind, command, settings, db),
        foot=foot,
    )
    shell = Shell(
        desk=desk,
        clients=Clients(),
        library=_library(bench, archive, words, settings, clock),
        guard=guard_for(host),
        clock_s=time.monotonic,
    )
    server = Server(shell, host=host, port=page_port)
    desk.show = server.show
    _go_on(bench, folder, settings.bench, clock, disk)
    try:
        with bench:
            yield server
    finally:
        archive.close()


def _library(
    bench: "Bench", archive: "Archive", words: "Words", settings: "BenchSettings", clock: Clock
) -> "Library":
    """What the page can look up beside the job under way."""
    from tensionlog.page.library import Library
    from tensionlog.report.slip import Practice

    return Library(
        bench=bench,
        archive=archive,
        words=words,
        unit=settings.unit,
        bench_name=settings.bench,
        practice=Practice(
            workshop=settings.workshop or "", restring_days=settings.restring_days
        ),
        clamps=clamps_of(settings),
        utc=lambda: datetime.fromtimestamp(clock.utc_s(), UTC),
    )


def guide_of(
    kind: str, command: Mapping[str, Any], settings: "BenchSettings", db: Path | None
) -> "Guide":
    """The guide of this morning's check, or of one clamp's hold test.

    Raises:
        TensionlogError: The bench's set-up does not say how.
    """
    from tensionlog.check.setup import setup_from_table
    from tensionlog.pipeline.check_guide import hold_steps_for
    from tensionlog.pipeline.guide import Guide

    if kind == "check":
        part = command.get("part")
        return guide_for(
            settings,
            db,
            full=part == "weekly",
            daily=part == "daily",
            calibrate=False,
            parts=(),
            clamps=(),
        )
    setup, clamp = setup_from_table(settings.check or {}), str(command.get("clamp", ""))
    if clamp not in setup.clamps:
        raise UsageError(f"this bench has no clamp {clamp!r}, but {', '.join(setup.clamps)}.")
    steps = hold_steps_for(setup, (clamp,), full=True)
    if not steps:
        raise UsageError(
            "the set-up names no force for hold tests. Write it: 'tensionlog bench check'."
        )
    return Guide(steps, done="hold-done")


def clamps_of(settings: "BenchSettings") -> tuple[str, ...]:
    """Names of the bench's clamps, as the set-up of its check has them."""
    named = (settings.check or {}).get("clamps")
    return tuple(str(name) for name in named) if isinstance(named, list) else ("A", "B")


def _go_on(bench: "Bench", folder: Path, name: str, clock: Clock, disk: "Disk | None") -> None:
    """Go on in a job that the server was stopped in."""
    from tensionlog.pipeline.archive import unfinished
    from tensionlog.recorder import Recorder
    from tensionlog.sources.recording import open_recording

    since = datetime.fromtimestamp(clock.utc_s(), UTC) - GO_ON_WITHIN
    path = unfinished(folder, bench=name, since=since)
    if path is None:
        return
    raw = dict(open_recording(path).header.raw)
    bench.resume(path, lambda: Recorder(folder, raw, disk=disk, goes_on=path))
    click.echo(f"Goes on in {path.name}", err=True)
