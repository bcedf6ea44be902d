"""`tensionlog record`: a sitting from a port into a recording, read while it grows."""

import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.dialled import dialled
from tensionlog.cli.keys import KEYS_LINE, keyboard
from tensionlog.cli.notify import tell_of
from tensionlog.cli.say import warn
from tensionlog.cli.session import Session
from tensionlog.cli.ticket import checked, read_ticket_file, tensions
from tensionlog.errors import LinkError, StoreError, UsageError

if TYPE_CHECKING:
    from tensionlog.pipeline.capture import Capture
    from tensionlog.pipeline.sitting import Whole
    from tensionlog.settings import BenchSettings
    from tensionlog.store import Store

ENDS = {"job": "job-end", "check": "check-end", "hold": "hold-end"}
"""The note that the key `e` writes before the recording is closed."""


@click.command(short_help="Record a sitting from a port, read while it grows.")
@click.option("--port", help="Port or URL, such as /dev/ttyACM0, COM3, socket://host:4000.")
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option("--ticket", type=click.Path(path_type=Path), help="The job, as JSON or TOML.")
@click.option("--ref", help="The job's reference; flags stand in place of the ticket's values.")
@click.option("--sport", help="tennis, squash, badminton, ...")
@click.option("--mains", type=int, help="Number of mains.")
@click.option("--crosses", type=int, help="Number of crosses.")
@click.option("--tension", help="Mains/crosses, such as 26/24 or '12 kgf'.")
@click.option(
    "--order",
    type=click.Choice(["alternate", "left-then-right"]),
    help="Order of the mains.",
)
@click.option("--owner", help="Whose racket it is.")
@click.option("--frame", help="The frame.")
@click.option("--string", help="The string.")
@click.option("--dial", help="What is dialled: 'advised', or mains/crosses such as 26.5/25.")
@click.option(
    "--purpose",
    type=click.Choice(["job", "check", "hold", "free"]),
    help="Else a job where there is a ticket, free where there is none.",
)
@click.option("--folder", type=click.Path(path_type=Path), help="Where the recording goes.")
@click.option("--db", type=click.Path(path_type=Path), help="The database; else the bench's.")
@click.option("--no-db", is_flag=True, help="Record only.")
@click.option("--wait", is_flag=True, help="Wait for a device that is silent.")
@options.own_unit
@options.as_json
def record(
    port: str | None,
    baud: int | None,
    ticket: Path | None,
    tension: str | None,
    dial: str | None,
    purpose: str | None,
    folder: Path | None,
    db: Path | None,
    no_db: bool,
    wait: bool,
    unit: str | None,
    as_json: bool,
    **flags: Any,
) -> None:
    """Record a sitting, and say of every pull what it reads at the clamp release.

    Keys while it runs: r redo, u undo, l lift-off, p place, b broke, n remark, : any
    other note, e end, q or Ctrl-C stop. Where stdin is no terminal, a line each.
    """
    settings = load_settings().with_changes({"port": port, "baud": baud, "unit": unit})
    job = _job(ticket, tension, flags, settings)
    purpose = purpose or ("free" if job is None else "job")
    if settings.port is None:
        raise UsageError("which port? Give --port; 'tensionlog ports' lists what is there.")
    store_path = None if no_db else db or settings.database_path
    if job is not None:
        job = dialled(job, dial, settings, store_path)
    session = Session(
        port=settings.port,
        baud=settings.baud,
        unit=settings.unit,
        as_json=as_json,
        patient=wait,
    )
    folder = folder or settings.recordings_folder
    whole, paths, caught = _sitting(settings, session, purpose, job, folder, store_path)
    if not paths and caught is None:
        raise LinkError(f"nothing came from {settings.port}, so nothing was recorded.")
    if whole is not None and store_path is not None:
        store_sitting(whole, paths, store_path)
        if job is not None:
            click.echo(f"Report it: tensionlog report --db {store_path}", err=True)
    if whole is not None and whole.levers is not None:
        from tensionlog.report.lever_words import lever_words

        click.echo(lever_words(whole.levers), err=True)
    if caught not in (None, signal.SIGINT):
        sys.exit(128 + int(caught or 0))


def _sitting(
    settings: "BenchSettings",
    session: Session,
    purpose: str,
    job: Mapping[str, Any] | None,
    folder: Path,
    db: Path | None,
) -> tuple["Whole | None", list[Path], signal.Signals | None]:
    """Record until somebody ends it; return what was read, its files, and the signal."""
    from tensionlog.pipeline.live import Live

    capture = make_capture(settings, purpose, folder)
    if job is not None and purpose == "job":
        capture.note({"note": "job-start", "job": job})
    caught: list[signal.Signals] = []
    with (
        stopping(capture, caught),
        keyboard() as pressed,
        Live(capture, phi_max=_phi(db, settings.bench)) as live,
    ):
        click.echo(f"Keys: {KEYS_LINE}", err=True)
        notes = _own_keys(pressed, capture, purpose)
        session.follow(live, notes=notes, goes_on=lambda: not caught)
        told, whole = live.finish()
        for last in told:
            session.say(last)
    paths = [] if capture.recorder is None else capture.recorder.paths
    for path in paths:
        click.echo(f"Closed and safe: {path}", err=True)
    return whole, paths, caught[0] if caught else None


def make_capture(settings: "BenchSettings", purpose: str, folder: Path) -> "Capture":
    """Open the bench's port, ready to be recorded into `folder`.

    Raises:
        LinkError: The port cannot be opened.
    """
    from tensionlog.pipeline.capture import Capture
    from tensionlog.recorder import Recorder, space_warning
    from tensionlog.sources.busy_port import open_when_free
    from tensionlog.sources.serial_port import newcomers, open_port, stable_url

    url = str(settings.port)
    header = settings.header(purpose=purpose)
    opened = open_when_free(url, baud=settings.baud, told=_say)
    if "calibration" not in header and settings.pattern is None:
        warn(
            "this bench has no calibration, so forces are not known: readings are counts. "
            "'tensionlog bench set --zero-counts … --counts-per-n …' writes it once."
        )
    if folder.is_dir() and (little := space_warning(folder)):
        warn(little)
    again = stable_url(url)
    return Capture(
        port=opened,
        reopen=lambda: open_port(again, baud=settings.baud),
        make_recorder=lambda: Recorder(folder, header),
        asks=settings.pattern is None,
        device=settings.device,
        newcomers=newcomers(baud=settings.baud),
    )


def _say(text: str) -> None:
    click.echo(text, err=True)


def _own_keys(
    pressed: Callable[[], list[dict[str, Any]]], capture: "Capture", purpose: str
) -> Callable[[], list[dict[str, Any]]]:
    """Notes of the keyboard, but for those that end the recording."""

    def notes() -> list[dict[str, Any]]:
        kept = []
        for note in pressed():
            if note["note"] == "job-end":
                if purpose in ENDS:
                    capture.note({"note": ENDS[purpose]})
                capture.stop()
            elif note["note"] == "quit":
                capture.stop()
            else:
                kept.append(note)
        return kept

    return notes


@contextmanager
def stopping(capture: "Capture", caught: list[signal.Signals]) -> Iterator[None]:
    """Let Ctrl-C, and what a system sends at its end, close the recording at once."""

    def stop(number: int, _frame: FrameType | None) -> None:
        caught.append(signal.Signals(number))
        capture.stop()

    names = [n for n in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, n)]
    before = {n: signal.signal(getattr(signal, n), stop) for n in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _phi(db: Path | None, bench: str) -> float | None:
    """What the bench measured last; a database in trouble does not keep us from recording."""
    from datetime import UTC, datetime

    from tensionlog.pipeline.phi import Phi
    from tensionlog.store import Store

    if db is None or not db.exists():
        return None
    try:
        with Store(db) as store:
            return Phi(store).in_force(bench, datetime.now(UTC))
    except StoreError as error:
        warn(f"{error} The recording goes on; store it later with 'tensionlog replay --db'.")
        return None


def store_sitting(whole: "Whole", paths: list[Path], db: Path) -> None:
    """Store what was read live; a replay of the same recording would store the same.

    Raises:
        TensionlogError: It could not be stored; the recording is safe as a file.
    """
    from tensionlog.pipeline.keeping import keep, sitting_name
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.sources.recording import open_recording
    from tensionlog.store import Store

    db.parent.mkdir(parents=True, exist_ok=True)
    with Store(db) as store:
        if len(paths) == 1:
            digest = open_recording(paths[0]).digest()
            keep(store, whole, name=sitting_name(paths[0]), digest=digest)
        else:
            _store_pieces(paths, store)
        events = keep_watch(store)
    click.echo(f"Stored in {db}", err=True)
    for event in events:
        body = event.body
        click.echo(f"ALERT {event.event}: {body['text']} Do: {body['do']}", err=True)
    tell_of(events, (load_settings().notify or {}).get("urls", []))


def _store_pieces(paths: list[Path], store: "Store") -> None:
    """Store a sitting that a failing disk tore into several recordings, read as one."""
    from tensionlog.pipeline.replay import Replayed, replay_all

    for item in replay_all(paths, store=store):
        if not isinstance(item, Replayed):
            raise item


def _job(
    path: Path | None, tension: str | None, flags: Mapping[str, Any], settings: "BenchSettings"
) -> dict[str, Any] | None:
    stated = {key: value for key, value in flags.items() if value is not None}
    if tension is not None:
        stated |= tensions(tension, unit=settings.unit)
    if path is None and not stated:
        return None
    ticket = {} if path is None else read_ticket_file(path)
    if settings.operator is not None:
        ticket.setdefault("operator", settings.operator)
    return checked({**ticket, **stated})
