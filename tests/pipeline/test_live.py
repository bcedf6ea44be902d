"""A sitting while it is recorded is what its replay will be."""

import time
from pathlib import Path

import pytest

from tensionlog.errors import LinkError, RecordingError
from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline import live as live_module
from tensionlog.pipeline.answers import answer
from tensionlog.pipeline.capture import Capture, Gone, Started
from tensionlog.pipeline.live import Garbage, Live, NoteTaken, PullFound
from tensionlog.pipeline.replay import replay
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources.recording import open_recording


class Replaying:
    """A port that gives a recording's bytes again, one read after the other.

    It is the recorder's clock as well, so that arrivals and notes keep their times.
    """

    def __init__(self, path: Path):
        self._items = iter(open_recording(path))
        self.capture: Capture | None = None
        self.at_s = open_recording(path).started_s
        self.is_done = False

    def read(self) -> bytes:
        for item in self._items:
            if isinstance(item, Arrival):
                self.at_s = item.at_s
            elif isinstance(item, Note):
                self.capture.note(dict(item.body))
            else:
                return item
        self.is_done = True
        time.sleep(0.01)
        return b""

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass


class Saying(Replaying):
    """A port that gives the same bytes for ever."""

    def __init__(self, data: bytes):
        self._data, self.at_s = data, 1_772_442_000.0

    def read(self) -> bytes:
        time.sleep(0.001)
        return self._data


def captured(port, folder: Path, header) -> Capture:
    disk = Disk(utc_s=lambda: port.at_s)

    def reopen():
        raise LinkError("there is no port")

    capture = Capture(
        port=port,
        reopen=reopen,
        make_recorder=lambda: Recorder(folder, header, disk=disk),
        utc_s=lambda: port.at_s,
    )
    port.capture = capture
    return capture


@pytest.fixture
def followed(short_path, tmp_path):
    """The short job, recorded live: what was told, the sitting, and its file."""
    port = Replaying(short_path)
    header = dict(open_recording(short_path).header.raw)
    told = []
    with Live(captured(port, tmp_path / "live", header)) as live:
        while not port.is_done:
            told += live.poll(0.05)
        last, whole = live.finish()
    return told + last, whole, live.capture.recorder.path


def test_a_live_sitting_its_replay_and_the_original_answer_alike(followed, short_path):
    _, whole, path = followed

    live = answer(whole, name="x")

    assert live == answer(replay(path), name="x")
    assert live == answer(replay(short_path), name="x")
    assert len(live["pulls"]) == 4


def test_every_pull_is_told_and_the_void_one_is_told_again(followed):
    told, whole, _ = followed

    last = {t.found.number: t.found.pull.void for t in told if isinstance(t, PullFound)}

    assert last == {f.number: f.pull.void for f in whole.found}
    assert last[2] is True


def test_notes_are_told_as_they_are_written(followed):
    told, whole, _ = followed

    assert [t.note for t in told if isinstance(t, NoteTaken)] == list(whole.notes)


def test_the_file_is_told_first(followed):
    told, _, path = followed

    assert told[0] == Started(path)


def test_bytes_that_make_no_sound_line_are_told_as_garbage(tmp_path, monkeypatch):
    monkeypatch.setattr(live_module, "SOUND_WITHIN_S", 0.05)
    told = []
    port = Saying(b"\xf0\x0f\x55garbage\n")
    with Live(captured(port, tmp_path, {"bench": "b", "purpose": "free"})) as live:
        deadline = time.monotonic() + 10.0
        while not any(isinstance(t, Garbage) for t in told) and time.monotonic() < deadline:
            told += live.poll(0.02)
        _, whole = live.finish()

    assert next(t for t in told if isinstance(t, Garbage)).bytes_read > 0
    assert whole.ledger.samples == 0
    assert whole.ledger.bad_lines > 0


def test_a_port_that_never_speaks_gives_no_sitting(tmp_path):
    port = Saying(b"")
    with Live(captured(port, tmp_path, {"bench": "b", "purpose": "free"})) as live:
        told, whole = live.finish()

    assert (told, whole) == ([], None)
    assert not live.is_running


def test_a_folder_that_takes_no_file_is_an_error_at_the_end(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    port = Saying(b"K,x*0000\n")
    live = Live(captured(port, blocked, {"bench": "b", "purpose": "free"}))

    with pytest.raises(RecordingError, match="cannot record into"), live:
        while live.is_running:
            live.poll(0.02)
        live.finish()


def test_a_lost_port_is_told(short_path, tmp_path):
    class Torn(Replaying):
        def read(self):
            data = super().read()
            if self.is_done:
                raise LinkError("lost it")
            return data

    port = Torn(short_path)
    header = dict(open_recording(short_path).header.raw)
    told = []
    with Live(captured(port, tmp_path / "live", header)) as live:
        deadline = time.monotonic() + 30.0
        while not any(isinstance(t, Gone) for t in told) and time.monotonic() < deadline:
            told += live.poll(0.05)
        _, whole = live.finish()

    assert Gone("lost it") in told
    assert len(whole.found) == 4
