"""Recording: bytes first, durable soon, and on in a new file after the first error."""

import errno
import json
import os
import threading
import time
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival, Note
from tensionlog.recorder import Disk, Recorder, space_warning
from tensionlog.recorder import disk as disk_module

HEADER = {"bench": "north", "purpose": "job", "started": "2026-03-02T09:00:00.000000Z"}
LINES = [b"S,%d,%d,84122*0000\n" % (n, 12500 * n) for n in range(40)]


def body(content: bytes) -> bytes:
    """A recording without its two leading lines."""
    return content.split(b"\n", 2)[2]


def header(content: bytes) -> dict:
    return json.loads(content.split(b"\n", 2)[1][2:])


def device_lines(content: bytes) -> list[bytes]:
    """The device's whole lines in a file."""
    lines = body(content).split(b"\n")[:-1]
    return [line + b"\n" for line in lines if line[:1] == b"S"]


def record(disk, lines=LINES, **options) -> Recorder:
    """A sitting, one line a read, synced after every third, as a thread would."""
    recorder = Recorder(
        Path("/somewhere"), HEADER, disk=disk.disk(), in_background=False, **options
    )
    for number, line in enumerate(lines):
        recorder.received(line)
        if number % 3 == 2:
            recorder.sync()
            disk.now_s += 0.25
    return recorder


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(Path, "mkdir", lambda *_args, **_options: None)
    return tmp_path


@pytest.mark.parametrize("call", ["write", "sync", "create", "rename", "sync_folder"])
@pytest.mark.parametrize("lasting", [1, 2, 3])
def test_after_any_failing_call_every_line_is_durable_somewhere(
    fake_disk, folder, call, lasting
):
    """Fail the n-th call, for every n, until a run has no n-th call any more."""
    for n in count(1):
        disk = fake_disk(fails=(call, n), lasting=lasting)
        try:
            recorder = record(disk)
        except RecordingError:
            assert n <= 2  # the very first file could not be made: nothing was promised
            continue
        disk.now_s += 5.0
        recorder.close()
        durable = [disk.durable[path.name] for path in recorder.paths]
        found = [line for content in durable for line in device_lines(content)]
        assert sorted(set(found), key=LINES.index) == LINES
        assert [header(c).get("continues") for c in durable] == [
            None,
            *(path.name for path in recorder.paths[:-1]),
        ]
        assert len({header(content)["started"] for content in durable}) == len(durable)
        assert disk.names == {}  # every descriptor given back
        if disk.calls.count(call) < n:
            assert len(recorder.paths) == 1
            return


@pytest.mark.parametrize("takes", [1, 3, 7, 30, 31, 32, 33])
def test_short_writes_lose_and_double_nothing(fake_disk, folder, takes):
    disk = fake_disk(takes=takes)
    recorder = record(disk)
    recorder.close()
    assert device_lines(disk.durable[recorder.path.name]) == LINES


@pytest.mark.parametrize("room", range(150, 900, 13))
def test_a_full_disk_is_survived_in_memory_and_left_in_a_new_file(fake_disk, folder, room):
    """Two files read one after the other hold every line exactly once."""
    disk = fake_disk(room=room)
    recorder = record(disk, LINES[:20])
    assert not recorder.state().is_writing
    assert "No space left" in recorder.state().trouble
    disk.room = 1 << 30
    disk.now_s += 1.0
    for line in LINES[20:]:
        recorder.received(line)
    assert recorder.state().is_writing
    recorder.close()
    found = [line for path in recorder.paths for line in device_lines(disk.files[path.name])]
    assert found == LINES
    assert recorder.state().lost_bytes == 0


@pytest.mark.parametrize("n", range(1, 15))
def test_a_new_file_says_where_it_takes_over(fake_disk, folder, n):
    """Cut there, the old file and the new one are the sitting, byte for byte."""
    disk = fake_disk(fails=("sync", n))
    try:
        recorder = record(disk)
    except RecordingError:
        return
    recorder.close()
    if len(recorder.paths) == 1:
        return
    old, new = (disk.files[path.name] for path in recorder.paths)
    said = header(new)
    assert said["continues"] == recorder.paths[0].name
    joined = device_lines(old[: said["continues_at"]]) + device_lines(new)
    assert joined == LINES
    assert body(new).startswith(b"@ ")


def test_in_mid_line_the_new_file_begins_with_the_whole_line(fake_disk, folder):
    disk = fake_disk(fails=("write", 4))
    recorder = record(disk, [LINES[0], LINES[1][:5], LINES[1][5:], LINES[2]])
    recorder.close()
    assert device_lines(disk.durable[recorder.path.name]) == [LINES[1], LINES[2]]
    assert device_lines(disk.durable[recorder.paths[0].name]) == [LINES[0]]


def test_memory_that_runs_over_is_a_loss_that_is_told(fake_disk, folder):
    disk = fake_disk(room=400)
    recorder = record(disk, LINES, ring_bytes=500)
    disk.room = 1 << 30
    disk.now_s += 1.0
    recorder.received(LINES[0])
    lost = recorder.state().lost_bytes
    assert 500 < lost < 40 * 60
    recorder.close()


def test_a_disk_that_never_recovers_is_an_error_at_the_end(fake_disk, folder):
    disk = fake_disk(room=300)
    recorder = record(disk, LINES[:10])
    with pytest.raises(RecordingError, match="could not be made safe") as caught:
        recorder.close()
    assert "No space left" in str(caught.value)


def test_it_is_not_tried_again_more_than_once_a_second(fake_disk, folder):
    disk = fake_disk(fails=("create", 2), lasting=1000, room=300)
    recorder = record(disk, LINES[:10])
    tries = disk.calls.count("create")
    for _ in range(50):
        recorder.received(LINES[0])
        recorder.sync()
    assert disk.calls.count("create") == tries
    disk.now_s += 1.0
    recorder.sync()
    assert disk.calls.count("create") == tries + 1


def test_state_tells_what_is_safe(fake_disk, folder):
    disk = fake_disk()
    recorder = Recorder(Path("/x"), HEADER, disk=disk.disk(), in_background=False)
    assert recorder.state().unsafe_bytes == 0
    recorder.received(LINES[0])
    disk.now_s += 3.0
    recorder.received(LINES[1])
    assert recorder.state().unsafe_s == 3.0
    assert recorder.state().unsafe_bytes == 2 * 30 + len(LINES[0] + LINES[1])
    recorder.sync()
    assert (recorder.state().unsafe_bytes, recorder.state().unsafe_s) == (0, 0.0)
    recorder.close()


def test_a_file_is_made_durable_with_its_name_before_anything_is_promised(fake_disk, folder):
    disk = fake_disk()
    Recorder(Path("/x"), HEADER, disk=disk.disk(), in_background=False)
    assert disk.calls == ["create", "write", "sync", "rename", "sync_folder"]


def test_a_file_that_cannot_be_made_is_one_line_and_leaves_nothing(fake_disk, folder):
    disk = fake_disk(fails=("sync", 1))
    with pytest.raises(RecordingError, match="cannot record into"):
        Recorder(Path("/x"), HEADER, disk=disk.disk(), in_background=False)
    assert disk.files == {}


pieces = st.lists(
    st.one_of(st.sampled_from(LINES[:3]), st.binary(max_size=50), st.just(LINES[0][:4])),
    max_size=15,
)


@given(pieces, st.sets(st.integers(0, 14)))
def test_what_is_returned_is_what_a_reader_finds(tmp_path_factory, chunks, noted):
    """So a live sitting is followed from the same items as a replayed one."""
    from tensionlog.sources import open_recording

    chunks = [chunk.replace(b"@", b"a").replace(b"!", b"b") for chunk in chunks]
    returned: list = []
    recorder = Recorder(tmp_path_factory.mktemp("r"), HEADER, in_background=False)
    for number, chunk in enumerate(chunks):
        returned += recorder.received(chunk)
        if number in noted:
            returned += recorder.note({"note": "mark", "number": number})
    returned += recorder.close()
    assert joined(open_recording(recorder.path)) == joined(returned)


def joined(items) -> list[Arrival | Note | bytes]:
    """Items with neighbouring device bytes put together."""
    out: list = []
    for item in items:
        if isinstance(item, bytes) and out and isinstance(out[-1], bytes):
            out[-1] += item
        else:
            out.append(item)
    return out


def test_names_come_from_bench_and_start_and_overwrite_nothing(tmp_path):
    fields = {**HEADER, "bench": "north/../ 1"}
    names = []
    for _ in range(3):
        with Recorder(tmp_path / "made", fields, in_background=False) as recorder:
            names.append(recorder.path.name)
    assert names == [
        "north-1-20260302T090000Z.rec",
        "north-1-20260302T090000Z-2.rec",
        "north-1-20260302T090000Z-3.rec",
    ]


def test_a_start_is_added_where_the_header_has_none(tmp_path):
    with Recorder(tmp_path, {"bench": "§"}, in_background=False) as recorder:
        recorder.note({"note": "job-start"})
    content = recorder.path.read_bytes()
    assert header(content)["started"].endswith("Z")
    assert recorder.path.name.startswith("§-2") or recorder.path.name.startswith("bench-2")


def test_a_folder_that_cannot_be_is_one_line(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(RecordingError, match="cannot record into"):
        Recorder(tmp_path / "file", HEADER)


def test_the_thread_makes_bytes_durable_by_itself(tmp_path):
    synced = threading.Event()

    def sync(descriptor: int) -> None:
        os.fsync(descriptor)
        synced.set()

    with Recorder(tmp_path, HEADER, disk=Disk(sync=sync)) as recorder:
        synced.clear()
        recorder.received(LINES[0])
        assert synced.wait(5.0)
        end = time.monotonic() + 5.0
        while recorder.state().unsafe_bytes and time.monotonic() < end:
            time.sleep(0.01)
        assert recorder.state().unsafe_bytes == 0


def test_a_slow_disk_delays_nobody(tmp_path):
    """While one sync hangs, bytes go on being taken; afterwards all are durable."""
    hangs, go_on = threading.Event(), threading.Event()

    def sync(descriptor: int) -> None:
        if threading.current_thread() is not threading.main_thread():
            hangs.set()
            go_on.wait(10.0)
        os.fsync(descriptor)

    with Recorder(tmp_path, HEADER, disk=Disk(sync=sync)) as recorder:
        recorder.received(LINES[0])
        assert hangs.wait(5.0)
        for line in LINES[1:]:
            recorder.received(line)
        assert recorder.path.read_bytes().endswith(LINES[-1])
        assert recorder.state().unsafe_bytes > 0
        go_on.set()
    assert recorder.state().unsafe_bytes == 0


def test_a_file_given_up_while_it_is_synced_is_closed_only_afterwards(tmp_path):
    """Its number must not go to another file while the other thread still uses it."""
    hangs, go_on, closed = threading.Event(), threading.Event(), []

    def sync(descriptor: int) -> None:
        if threading.current_thread() is not threading.main_thread() and not hangs.is_set():
            hangs.set()
            go_on.wait(10.0)
        os.fsync(descriptor)

    def write(descriptor: int, data: bytes) -> int:
        if hangs.is_set() and not go_on.is_set() and b"broken" in data and len(files) == 1:
            files.append(1)
            raise OSError(errno.EIO, "Input/output error")
        return os.write(descriptor, data)

    def close(descriptor: int) -> None:
        closed.append(go_on.is_set())
        os.close(descriptor)

    files = [0]
    with Recorder(tmp_path, HEADER, disk=Disk(sync=sync, write=write, close=close)) as recorder:
        recorder.received(LINES[0])
        assert hangs.wait(5.0)
        recorder.received(b"broken\n")
        assert len(recorder.paths) == 2
        assert closed == []
        go_on.set()
    assert closed == [True, True]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_real_full_device_is_one_line(tmp_path):
    disk = Disk(create=lambda path: os.open("/dev/full", os.O_WRONLY), remove=lambda path: None)
    with pytest.raises(RecordingError, match="No space left on device"):
        Recorder(tmp_path, HEADER, disk=disk)


def test_a_disk_that_takes_nothing_is_an_error_not_a_loop(tmp_path):
    with pytest.raises(RecordingError, match="took 0 of"):
        Recorder(tmp_path, HEADER, disk=Disk(write=lambda *_: 0))


def test_little_space_is_told_before_a_job(tmp_path, monkeypatch):
    assert space_warning(tmp_path) is None or "MB are free" in space_warning(tmp_path)
    monkeypatch.setattr(disk_module, "LITTLE_SPACE_BYTES", 1 << 60)
    assert "Make room before the next job" in space_warning(tmp_path)
