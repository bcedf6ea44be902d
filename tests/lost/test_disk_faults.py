"""Faults of the disk under a live sitting, each told at once and ended in the law.

Names begin with the row of `tests/lost/faults.md`.
"""

import errno
import os
import resource
import shutil
import signal
import threading
import time
from pathlib import Path

import pytest

from tensionlog.errors import RecordingError
from tensionlog.model.lines import Sample
from tensionlog.pipeline import trouble
from tensionlog.pipeline.capture import Capture
from tensionlog.pipeline.live import Live
from tensionlog.pipeline.replay import Replayed, replay_all, sittings_of
from tensionlog.pipeline.trouble import Safe, Unsafe
from tensionlog.recorder import Disk, Recorder
from tensionlog.recorder import recorder as recorder_module
from tensionlog.store import Store
from tensionlog.wire import encode

HEADER = {"bench": "north", "purpose": "job", "rate_hz": 80.0, "adc_bits": 24}
TICKET = {
    "note": "job-start",
    "job": {"ref": "T-1", "mains": 2, "crosses": 1, "target_mains_N": 120.0,
            "target_crosses_N": 110.0},
}  # fmt: skip
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX")


class Steady:
    """A port that says one sample a read, some thousand a second."""

    def __init__(self):
        self.said = 0

    def read(self) -> bytes:
        time.sleep(0.0005)
        self.said += 1
        n = self.said - 1
        return encode(Sample(n % 65536, 12_500 * n % 2**32, 84_000))

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass


class Sitting:
    """A live sitting on a disk that is made to fail; `told` gathers what is told."""

    def __init__(self, folder: Path, disk: Disk | None = None):
        self.port, self.told = Steady(), []
        self.capture = Capture(
            port=self.port,
            reopen=lambda: self.port,
            make_recorder=lambda: Recorder(folder, HEADER, disk=disk),
        )
        self.capture.note(TICKET)
        self.live = Live(self.capture)

    def __enter__(self):
        self.live.__enter__()
        return self

    def __exit__(self, *how):
        self.live.__exit__(*how)

    def until(self, happened, *, longest_s: float = 20.0) -> float:
        began_s = time.monotonic()
        while not happened():
            assert time.monotonic() - began_s < longest_s, self.told
            self.told += self.live.poll(0.01)
        return time.monotonic() - began_s

    def has_told(self, kind) -> bool:
        return any(isinstance(told, kind) for told in self.told)

    def goes_on(self, samples: int = 50) -> None:
        until = self.live.samples + samples
        self.until(lambda: self.live.samples >= until)


def balanced(folder: Path, law, sitting: Sitting) -> list[Path]:
    """All that the device said is in the folder, read as one sitting; its files."""
    (proof,) = law(folder)
    assert proof.ledger.samples == sitting.port.said
    assert proof.ledger.missing == 0
    ((reader,), _) = sittings_of(sorted(folder.glob("*.rec")))
    return reader.paths


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    """Nobody waits for whole seconds here."""
    monkeypatch.setattr(recorder_module, "TRY_AGAIN_S", 0.05)
    monkeypatch.setattr(trouble, "SAFE_WITHIN_S", 0.4)


def failing(what: int) -> tuple[threading.Event, Disk]:
    """A disk whose writes fail with an error number while an event is set."""
    fails = threading.Event()

    def write(descriptor: int, data: bytes) -> int:
        if fails.is_set():
            raise OSError(what, os.strerror(what))
        return os.write(descriptor, data)

    return fails, Disk(write=write)


@pytest.mark.parametrize("what", [errno.ENOSPC, errno.EIO, errno.EROFS, errno.EFBIG])
def test_d6_d7_a_disk_that_is_full_or_broken_is_told_and_nothing_is_lost(tmp_path, law, what):
    fails, disk = failing(what)
    with Sitting(tmp_path, disk) as sitting:
        sitting.goes_on()
        fails.set()
        told_s = sitting.until(lambda: sitting.has_told(Unsafe))
        sitting.goes_on()
        fails.clear()
        sitting.until(lambda: sitting.has_told(Safe))
        sitting.goes_on()
        sitting.live.finish()

    assert told_s < 2.0
    assert len(balanced(tmp_path, law, sitting)) == 2


def test_d6_a_torn_sitting_is_one_job_in_answers_and_database(tmp_path, law):
    fails, disk = failing(errno.ENOSPC)
    with Sitting(tmp_path / "r", disk) as sitting:
        sitting.goes_on()
        fails.set()
        sitting.until(lambda: sitting.has_told(Unsafe))
        fails.clear()
        sitting.until(lambda: sitting.has_told(Safe))
        sitting.live.finish()
    paths = balanced(tmp_path / "r", law, sitting)
    with Store(tmp_path / "a.db") as store:
        (read,) = replay_all(paths, store=store)
        stored = store.recordings()

    assert isinstance(read, Replayed)
    assert [job.ref for job in read.whole.jobs] == ["T-1"]
    assert read.parts == tuple(paths)
    assert len(stored) == 1
    assert any("the disk failed" in warning for warning in read.warnings)


@posix
def test_d7_a_real_limit_on_the_size_of_files_is_survived(tmp_path, law):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        with Sitting(tmp_path) as sitting:
            sitting.goes_on()
            resource.setrlimit(resource.RLIMIT_FSIZE, (8_000, before[1]))
            sitting.until(lambda: sitting.has_told(Unsafe) or len(_files(tmp_path)) > 2)
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
            sitting.goes_on()
            sitting.live.finish()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)

    assert len(balanced(tmp_path, law, sitting)) > 1


def _files(folder: Path) -> list[Path]:
    return list(folder.glob("*.rec"))


@posix
def test_d7_a_folder_that_vanishes_is_made_again_with_the_whole_sitting_in_it(tmp_path, law):
    with Sitting(tmp_path / "r") as sitting:
        sitting.goes_on()
        shutil.rmtree(tmp_path / "r")
        sitting.until(lambda: bool(_files(tmp_path / "r")))
        sitting.goes_on()
        sitting.live.finish()

    (path,) = balanced(tmp_path / "r", law, sitting)
    assert b"job-start" in path.read_bytes()


def test_d8_c5_a_sync_that_hangs_delays_nobody_and_is_told(tmp_path, law):
    hangs, go_on = threading.Event(), threading.Event()

    def sync(descriptor: int) -> None:
        if hangs.is_set():
            go_on.wait(10.0)
        os.fsync(descriptor)

    with Sitting(tmp_path, Disk(sync=sync)) as sitting:
        sitting.goes_on()
        hangs.set()
        told_s = sitting.until(lambda: sitting.has_told(Unsafe))
        sitting.goes_on()
        hangs.clear()
        go_on.set()
        sitting.until(lambda: sitting.has_told(Safe))
        sitting.live.finish()

    balanced(tmp_path, law, sitting)
    assert told_s < 2.0


def test_c5_a_write_that_never_comes_back_is_told_all_the_same(tmp_path, law):
    hangs, go_on = threading.Event(), threading.Event()

    def write(descriptor: int, data: bytes) -> int:
        if hangs.is_set():
            go_on.wait(10.0)
        return os.write(descriptor, data)

    with Sitting(tmp_path, Disk(write=write)) as sitting:
        sitting.goes_on()
        hangs.set()
        told_s = sitting.until(lambda: sitting.has_told(Unsafe))
        hangs.clear()
        go_on.set()
        sitting.until(lambda: sitting.has_told(Safe))
        sitting.live.finish()

    (unsafe,) = (told for told in sitting.told if isinstance(told, Unsafe))
    assert unsafe.why == "the disk does not answer"
    assert told_s < 2.0
    balanced(tmp_path, law, sitting)


def test_d9_a_database_locked_by_another_program_does_not_touch_the_recording(tmp_path, law):
    """Capture never speaks to the database, so a lock that lasts all the while is nothing."""
    with Store(tmp_path / "a.db") as other, other.transaction():
        with Sitting(tmp_path / "r") as sitting:
            sitting.goes_on(200)
            sitting.live.finish()

    paths = balanced(tmp_path / "r", law, sitting)
    with Store(tmp_path / "a.db") as store:
        assert [type(item) for item in replay_all(paths, store=store)] == [Replayed]


@posix
def test_d20_a_second_recorder_of_the_bench_is_refused_and_another_bench_is_not(tmp_path):
    with Recorder(tmp_path, HEADER):
        with pytest.raises(
            RecordingError, match="another tensionlog records for bench 'north'"
        ):
            Recorder(tmp_path, HEADER)
        with Recorder(tmp_path, HEADER | {"bench": "south"}):
            pass
        with Recorder(tmp_path, HEADER, in_background=False) as decision:
            decision.note({"note": "service", "clamp": "A", "what": "cleaned"})
    with Recorder(tmp_path, HEADER):
        assert len(_files(tmp_path)) == 4


def test_d4_d5_whatever_a_power_cut_leaves_of_the_end_only_what_was_sent_is_read(tmp_path, law):
    """Every length, then zeros, garbage or a hole where the disk had not written yet."""
    sent = [Sample(n, 12_500 * n, 84_000 + n) for n in range(12)]
    with Recorder(tmp_path, HEADER, in_background=False) as recorder:
        for sample in sent:
            recorder.received(encode(sample))
    whole = recorder.path.read_bytes()
    begin = whole.index(b"@ ")
    for at in range(begin, len(whole), 13):
        for tail in (b"", bytes(40), b"\xff\x00S,9,\n" * 5, bytes(20) + whole[at + 20 :]):
            recorder.path.write_bytes(whole[:at] + tail)
            (proof,) = law(tmp_path)
            assert proof.ledger.samples >= whole[:at].count(b"\nS,") - 1
            assert proof.ledger.samples <= len(sent)


@posix
def test_d1_c4_what_is_killed_before_its_header_is_written_leaves_no_recording(tmp_path):
    """A recording gets its name with its header in it, so there is none that is unreadable."""

    def power_cut(descriptor: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Recorder(tmp_path, HEADER, disk=Disk(sync=power_cut))

    assert _files(tmp_path) == []
