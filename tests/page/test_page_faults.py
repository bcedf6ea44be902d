"""Faults of line and disk while pages are open: every page says so at once, by its state.

Without a browser: what the server sends is what the page shows. Each ends in the law.
"""

import errno
import os
import threading
import time
from contextlib import ExitStack, contextmanager

import pytest

from tensionlog.cli.serve import page_server
from tensionlog.model.lines import Hello
from tensionlog.pipeline import alarms
from tensionlog.pipeline import capture as capture_module
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.pipeline.replay import sittings_of
from tensionlog.pipeline.verify import verify_recording
from tensionlog.recorder import Disk
from tensionlog.recorder import recorder as recorder_module
from tensionlog.settings import BenchSettings
from tensionlog.sources.serial_port import open_port
from tensionlog.twin import play_job
from tensionlog.twin.pty_link import served
from tensionlog.wire import encode

from .test_page_app import ME, OTHER, TICKET, do, events

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX"),
]

PLAYED = play_job(seed=3, mains=2, crosses=0, pace=0.0)
SETTINGS = BenchSettings(
    bench="north",
    calibration={"zero_counts": 0, "counts_per_N": 9000.0},
    unit="lbf",
    rate_hz=80.0,
)
SOON_S = 2.0


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    """Nobody waits for whole seconds here."""
    monkeypatch.setattr(recorder_module, "TRY_AGAIN_S", 0.05)
    monkeypatch.setattr(capture_module, "REFUSED_S", 0.1)


def twin(recording=PLAYED.recording):
    return served(lambda _hz: recording, clock=time.monotonic, speed=10.0, resets_on_open=False)


@contextmanager
def two_pages(folder, opened, *, disk=None, link="ok"):
    """A bench followed by two pages: the states of each, and the server's port."""
    capture = BenchCapture(
        port=opened(),
        reopen=opened,
        clock_s=time.monotonic,
        utc_s=time.time,
    )
    with ExitStack() as stack:
        server = stack.enter_context(
            page_server(SETTINGS, capture=capture, folder=folder, db=None, disk=disk)
        )
        at: list[int] = []
        thread = threading.Thread(target=server.run, args=(at.append,))
        thread.start()
        stack.callback(thread.join, 10.0)
        stack.callback(server.stop)
        while not at:
            time.sleep(0.01)
        pages = [stack.enter_context(events(at[0], name)) for name in (ME, OTHER)]
        everywhere(pages, lambda s: s["link"]["state"] == link)
        yield pages, at[0]


def everywhere(pages, happened) -> float:
    """Wait until every page shows it; return how long the last took."""
    began_s = time.monotonic()
    for page in pages:
        page(happened)
    return time.monotonic() - began_s


def says(state, word) -> bool:
    return any(text.startswith(f"{word}: ") for text in state["alarms"])


def of_another_device(recording: bytes) -> bytes:
    """The same recording, said by a device of another name."""
    other = encode(Hello(1, "twin-9999", "fw", 80.0, 24, "1")).rstrip(b"\n")
    lines = recording.split(b"\n")
    return b"\n".join(other if line.startswith(b"H,") else line for line in lines)


def begin(pages, port) -> None:
    assert do(port, do="ticket", fields=TICKET)[0] == 200
    everywhere(pages, lambda s: s["stage"] == "before")


def proof_of(folder):
    """The law, on the one sitting in the folder."""
    (reader,), errors = sittings_of(sorted(folder.glob("*.rec")))
    assert errors == []
    proof = verify_recording(reader)
    assert proof.problems == ()
    return proof


def test_a_cable_that_is_pulled_is_told_on_both_pages_and_the_job_goes_on(tmp_path):
    with twin() as link, two_pages(tmp_path, lambda: open_port(link.path)) as (pages, port):
        begin(pages, port)
        link.unplug()
        assert everywhere(pages, lambda s: says(s, "GONE")) < SOON_S
        link.replug()
        assert everywhere(pages, lambda s: s["link"]["state"] == "ok") < SOON_S
        assert do(port, do="skip")[0] == 200  # the same job, at its next question
        everywhere(pages, lambda s: s["step"]["number"] == 2 and s["alarms"] == [])

    assert proof_of(tmp_path).ledger.samples > 0


def test_a_disk_that_fills_up_during_a_job_is_told_on_both_pages_until_there_is_room(tmp_path):
    is_full = threading.Event()

    def write(descriptor: int, data: bytes) -> int:
        if is_full.is_set():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return os.write(descriptor, data)

    with (
        twin() as link,
        two_pages(tmp_path, lambda: open_port(link.path), disk=Disk(write=write)) as (
            pages,
            port,
        ),
    ):
        begin(pages, port)
        is_full.set()
        told_s = everywhere(pages, lambda s: says(s, "NOT SAFE") and s["unsafe"])
        assert do(port, do="skip")[0] == 200  # work goes on, and is kept in memory
        is_full.clear()
        everywhere(pages, lambda s: s["alarms"] == [] and not s["unsafe"])
        assert do(port, do="give-up", why="a test")[0] == 200
        everywhere(pages, lambda s: s["stage"] == "home")

    assert told_s < SOON_S
    proof = proof_of(tmp_path)
    assert proof.ledger.missing == 0
    notes = b"".join(path.read_bytes() for path in sorted(tmp_path.glob("*.rec")))
    assert all(name in notes for name in (b"job-start", b"inspect", b"given-up"))


def test_another_device_is_told_on_both_pages_and_nothing_of_it_is_kept(tmp_path):
    with twin() as link, twin(of_another_device(PLAYED.recording)) as theirs:
        where = [link.path]
        with two_pages(tmp_path, lambda: open_port(where[0])) as (pages, port):
            begin(pages, port)
            where[0] = theirs.path
            link.unplug()
            everywhere(pages, lambda s: says(s, "ANOTHER DEVICE"))
            link.replug()
            where[0] = link.path
            everywhere(pages, lambda s: s["alarms"] == [])

    proof_of(tmp_path)
    (path,) = tmp_path.glob("*.rec")
    assert b"twin-9999" not in path.read_bytes()


class Nonsense:
    """A port that gives bytes of which none make a line."""

    def read(self) -> bytes:
        time.sleep(0.01)
        return b"\x80\xfe\x00\n" * 8

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass


def test_bytes_that_make_no_line_are_told_and_no_reading_is_shown(tmp_path, monkeypatch):
    monkeypatch.setattr(alarms, "SOUND_WITHIN_S", 0.3)
    with two_pages(tmp_path, Nonsense, link="waiting") as (pages, _):
        told_s = everywhere(
            pages, lambda s: says(s, "NO READING") and s["link"]["state"] == "waiting"
        )
    assert told_s < SOON_S
