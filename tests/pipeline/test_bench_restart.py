"""A server that is killed in the middle of a job comes back at the same string.

Cut anywhere, the recording alone gives stage, answers and position; with a real kill (the
slow form) nothing that the recorder had taken is missing.
"""

import json
import os
import random
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline.bench import Bench
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.pipeline.quick import Quick
from tensionlog.recorder import Recorder
from tensionlog.sources.header import idle_header
from tensionlog.sources.recording import open_recording
from tensionlog.twin import play_job

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def job():
    """Seven strings, one taken back."""
    return play_job(
        seed=12, sport="squash", mains=4, crosses=3, mishaps={"R2": "redo"}, pace=0.2
    )


class QuietPort:
    """A device that says nothing more."""

    def read(self) -> bytes:
        time.sleep(0.01)
        return b""

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass


def quick_of(path: Path) -> Quick:
    reader = open_recording(path)
    quick = Quick(reader.header)
    for item in reader:
        if isinstance(item, bytes):
            quick.feed(item)
        elif isinstance(item, Arrival):
            quick.arrived(item.at_s)
        elif isinstance(item, Note):
            quick.note(item)
    return quick


def places(standing) -> list[tuple[str | None, bool]]:
    return [(lap.place.position, lap.place.void) for lap in standing.laps]


def test_cut_anywhere_the_position_is_that_of_what_was_pulled(job, tmp_path):
    """Eight random places; the truth is the twin's."""
    whole, rng = job.recording, random.Random(5)
    for _ in range(8):
        path = tmp_path / "cut.rec"
        path.write_bytes(whole[: rng.randint(2000, len(whole))])
        quick = quick_of(path)
        standing, now_s = quick.standing(), quick.now_s
        sure = [p for p in job.truth["pulls"] if p["let_off_s"] + 0.5 < now_s]
        begun = [p for p in job.truth["pulls"] if p["start_s"] < now_s]
        found = [position for position, _ in places(standing)]
        true = [p["position"] for p in begun]
        assert len(sure) <= len(found) <= len(begun) + 1
        assert found[: len(sure)] == true[: len(sure)]


def resumed(path: Path, tmp_path: Path) -> tuple[Bench, BenchCapture]:
    raw = dict(open_recording(path).header.raw)
    capture = BenchCapture(
        port=QuietPort(), reopen=QuietPort, clock_s=time.monotonic, utc_s=time.time
    )
    bench = Bench(capture, idle_header=idle_header({**raw, "purpose": "free"}))
    bench.resume(path, lambda: Recorder(tmp_path, raw, goes_on=path))
    return bench, capture


def wait_for(condition, within_s: float = 90.0) -> None:
    until = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.01)


@pytest.mark.parametrize("share", [0.31, 0.77])
def test_a_bench_goes_on_in_the_file_and_stands_where_it_stood(job, tmp_path, share):
    path = tmp_path / "cut.rec"
    path.write_bytes(job.recording[: int(len(job.recording) * share)])
    before = places(quick_of(path).standing())
    bench, capture = resumed(path, tmp_path)
    with bench:
        wait_for(lambda: bench.now.path == path and not bench.now.catching_up)
        assert places(bench.now.standing) == before
        capture.note({"note": "remark", "text": "here again"})
        wait_for(lambda: bench.now.notes and bench.now.notes[-1].name == "remark")
    again = quick_of(path)
    assert places(again.standing()) == before
    assert again.said[-1].body["text"] == "here again"


def test_what_was_torn_is_closed_and_nothing_is_cut_off(job, tmp_path):
    whole = job.recording[: len(job.recording) // 2]
    whole = whole[: whole.rindex(b"S,") + 5]
    path = tmp_path / "torn.rec"
    path.write_bytes(whole)
    bench, _ = resumed(path, tmp_path)
    with bench:
        wait_for(lambda: bench.now.path == path and not bench.now.catching_up)
    assert path.read_bytes().startswith(whole + b"~\n")


def test_a_note_that_lacked_only_its_end_of_line_is_kept(job, tmp_path):
    path = tmp_path / "note.rec"
    note = b'! {"at": "2026-03-02T09:00:30.000000Z", "note": "remark", "text": "last"}'
    path.write_bytes(job.recording[: job.recording.index(b"@ ")] + note)
    bench, _ = resumed(path, tmp_path)
    with bench:
        wait_for(lambda: bench.now.path == path and not bench.now.catching_up)
    notes = [item for item in open_recording(path) if isinstance(item, Note)]
    assert notes[-1].body["text"] == "last"


CHILD = """
import sys, time
from pathlib import Path
from tensionlog.cli.serve import Clock, page_server
from tensionlog.cli.demo_page import _settings
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.recorder import Disk
from tensionlog.sources.serial_port import open_port
import json
url, folder, origin, pace, utc, header = sys.argv[1:]
header, origin, pace, utc = json.loads(header), float(origin), float(pace), float(utc)
mono = lambda: (time.monotonic() - origin) * pace
now = lambda: utc + mono()
capture = BenchCapture(
    port=open_port(url), reopen=lambda: open_port(url), clock_s=mono, utc_s=now
)
with page_server(_settings(header, "N"), capture=capture, folder=Path(folder), db=None,
                 clock=Clock(monotonic_s=mono, utc_s=now),
                 disk=Disk(utc_s=now, monotonic_s=mono), header=header) as server:
    server.run(lambda port: print(port, flush=True))
"""


def piece(recording: bytes, from_s: float, to_s: float) -> bytes:
    """The device's lines between two times, as a recording of their own."""
    from tensionlog.twin.script_feed import device_lines

    lines = [b"@ 2026-03-02T09:00:00.000000Z"]
    for t_s, line in device_lines(recording):
        if line.startswith(b"H,") or from_s <= t_s < to_s:
            millis = int(max(t_s - from_s, 0.0) * 1e6)
            lines += [
                b"@ 2026-03-02T09:%02d:%02d.%06dZ"
                % (millis // 60_000_000, millis // 1_000_000 % 60, millis % 1_000_000),
                line.rstrip(b"\n"),
            ]
    return b"\n".join([*lines, b""])


class Served:
    """The server in a process of its own, spoken to as a page does."""

    def __init__(self, command: list[str]) -> None:
        self.child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.child.stdout is not None
        self.port = int(self.child.stdout.readline())

    def do(self, **command) -> dict:
        body = json.dumps({"client": "a" * 24, **command}).encode()
        headers = {"content-type": "application/json", "x-tensionlog": "1"}
        url = f"http://127.0.0.1:{self.port}/do"
        request = urllib.request.Request(url, body, headers)
        with urllib.request.urlopen(request, timeout=10) as answer:
            return json.loads(answer.read())

    def state(self) -> dict:
        url = f"http://127.0.0.1:{self.port}/events?client={'a' * 24}"
        with urllib.request.urlopen(url, timeout=10) as stream:
            for line in stream:
                if line.startswith(b"data: {") and b'"stage"' in line:
                    return json.loads(line[6:])
        raise AssertionError("no state came")

    def kill(self) -> None:
        self.child.kill()
        self.child.wait()
        assert self.child.stdout is not None
        self.child.stdout.close()


def made(state: dict) -> int:
    """Strings pulled, as the page shows them."""
    return sum(state["counts"][key] for key in ("left", "right", "crosses"))


@pytest.mark.slow
@pytest.mark.timeout(1500)
@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal and SIGKILL")
def test_killed_at_twenty_random_moments_no_pull_is_lost(tmp_path):
    from tensionlog.cli.demo import FastClock, Script
    from tensionlog.twin.pty_link import served_feed
    from tensionlog.twin.stage import StageFeed

    rng, pace = random.Random(20261125), 8.0
    job = play_job(seed=3, sport="squash", mains=14, crosses=8, pace=0.4)
    pulls = job.truth["pulls"]
    header = {k: v for k, v in Script(job.recording).header.items() if k != "purpose"}
    feed, clock = StageFeed(job.recording, rate_hz=80.0), FastClock(pace=pace, lasts_s=0.0)
    ticket = Script(job.recording).notes[0][1]["job"]
    fields = {
        "sport": "squash", "mains": "14", "crosses": "8", "owner": "Sena",
        "tension": f"{ticket['target_mains_N']:.2f}/{ticket['target_crosses_N']:.2f}",
        "head_long_mm": "345", "head_wide_mm": "215",
    }  # fmt: skip
    with served_feed(feed, clock=clock.monotonic_s) as link:
        command = [sys.executable, "-c", CHILD, link.path, str(tmp_path)]
        command += [str(clock._real_s), str(pace), str(clock._utc_s), json.dumps(header)]  # noqa: SLF001
        server, kills = Served(command), 0
        try:
            assert server.do(do="ticket", fields=fields)["ok"]
            wait_for(lambda: server.state()["stage"] == "before")
            while (step := server.state().get("step")) is not None:
                server.do(do="confirm", long_mm="345", wide_mm="215")
                wait_for(lambda was=step: server.state().get("step") != was)
            assert server.state()["stage"] == "strings"
            for number, pull in enumerate(pulls):
                before = server.state()
                step = before.get("step")
                if step:
                    server.do(do="confirm")
                    wait_for(lambda s=server: not s.state().get("step"))
                    before = server.state()
                assert before["next"]["position"] == pull["position"]
                feed.put_on(
                    piece(job.recording, pull["start_s"] - 1.0, pull["let_off_s"] + 1.2)
                )
                wait_for(lambda: not feed.is_idle, 5.0)
                if kills < 20:
                    lasts_s = (pull["let_off_s"] - pull["start_s"] + 2.2) / pace
                    time.sleep(rng.uniform(0.0, lasts_s + 0.2))
                    server.kill()
                    kills += 1
                    server = Served(command)
                    wait_for(lambda s=server: s.state()["stage"] != "home")
                wait_for(lambda: feed.is_idle)
                time.sleep(1.0)
                state = server.state()
                assert state["title"].startswith("Sena"), "the same job"
                if made(state) == number:  # killed before it had begun: pulled again
                    feed.put_on(
                        piece(job.recording, pull["start_s"] - 1.0, pull["let_off_s"] + 1.2)
                    )
                wait_for(lambda s=server, n=number: made(s.state()) == n + 1)
            assert kills == 20
            assert server.state()["stage"] == "after"
        finally:
            server.kill()
    (path,) = tmp_path.glob("*.rec")
    found = [p for p, void in places(quick_of(path).standing()) if not void]
    assert found == [p["position"] for p in pulls]
