"""A sitting torn by a failing disk is one sitting again; nothing else is joined."""

import errno
import gzip
import itertools
import json
import os

from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import Sample
from tensionlog.model.recording import Arrival, Note
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources.joined import JoinedReader, in_sittings
from tensionlog.sources.recording import open_recording
from tensionlog.wire import encode

LINES = [encode(Sample(n, 12_500 * n, 84_000 + n)) for n in range(40)]


def written(folder, name: str, body: bytes, **header) -> object:
    said = {"bench": "north", "purpose": "free", "started": "2026-03-02T09:00:00Z"} | header
    (folder / name).write_bytes(
        b"# tensionlog-recording 1\n# " + json.dumps(said).encode() + b"\n" + body
    )
    return open_recording(folder / name)


def device_bytes(reader) -> bytes:
    return b"".join(item for item in reader if isinstance(item, bytes))


def failing_at(number: int) -> Disk:
    """A disk whose write of that number fails, once."""
    writes = itertools.count(1)

    def write(descriptor: int, data: bytes) -> int:
        if next(writes) == number:
            raise OSError(errno.EIO, "Input/output error")
        return os.write(descriptor, data)

    return Disk(write=write)


@settings(max_examples=12)
@given(fails=st.integers(3, 44), packed=st.booleans())
def test_whenever_the_disk_failed_every_byte_is_there_once_and_in_order(
    tmp_path_factory, fails, packed
):
    """Law: device bytes in = device bytes out, notes too, whichever write fails."""
    folder, header = tmp_path_factory.mktemp("torn"), {"bench": "n", "purpose": "job"}
    disk = failing_at(fails)
    with Recorder(folder, header, disk=disk, in_background=False) as recorder:
        recorder.note({"note": "job-start", "job": {"ref": "T-1"}})
        for line in LINES:
            recorder.received(line)
            if fails % 2:
                recorder.sync()
    paths = list(folder.glob("*.rec"))
    for path in paths if packed else ():
        path.write_bytes(gzip.compress(path.read_bytes()))

    (reader,) = in_sittings(map(open_recording, paths))

    assert device_bytes(reader) == b"".join(LINES)
    assert [item.name for item in reader if isinstance(item, Note)] == ["job-start"]
    assert len(reader.paths) == (2 if fails <= 42 else 1)


def test_the_first_part_gives_the_header_and_all_of_them_the_digest(tmp_path):
    a = written(tmp_path, "a.rec", LINES[0])
    b = written(tmp_path, "b.rec", LINES[1], continues="a.rec", started="2026-03-02T10:00:00Z")

    (joined,) = in_sittings([b, a])

    assert isinstance(joined, JoinedReader)
    assert joined.header == a.header
    assert joined.path == a.path
    assert joined.digest() not in (a.digest(), b.digest())


def test_a_torn_line_gives_way_to_the_whole_one_that_follows(tmp_path):
    a = written(tmp_path, "a.rec", LINES[0] + LINES[1][:9])
    b = written(tmp_path, "b.rec", b"@ 2026-03-02T09:00:01Z\n" + LINES[1], continues="a.rec")

    (joined,) = in_sittings([a, b])

    assert [i for i in joined if not isinstance(i, Arrival)] == [LINES[0], LINES[1]]


def test_what_continues_a_file_that_is_not_there_stands_by_itself(tmp_path):
    b = written(tmp_path, "b.rec", LINES[1], continues="a.rec")

    assert in_sittings([b]) == [b]


def test_another_benchs_file_of_that_name_is_another_sitting(tmp_path):
    a = written(tmp_path, "a.rec", LINES[0], bench="south")
    b = written(tmp_path, "b.rec", LINES[1], continues="a.rec")

    assert in_sittings([a, b]) == [a, b]


def test_a_file_and_its_compressed_copy_are_both_kept(tmp_path):
    a = written(tmp_path, "a.rec", LINES[0])
    (tmp_path / "a.rec.gz").write_bytes(gzip.compress(a.path.read_bytes()))

    assert len(in_sittings([a, open_recording(tmp_path / "a.rec.gz")])) == 2


def test_files_that_say_they_continue_one_another_in_a_ring_are_all_kept(tmp_path):
    a = written(tmp_path, "a.rec", LINES[0], continues="b.rec")
    b = written(tmp_path, "b.rec", LINES[1], continues="a.rec")

    assert in_sittings([a, b]) == [a, b]


def test_a_warning_of_any_part_is_kept(tmp_path):
    a = written(tmp_path, "a.rec", b'! {"note": "redo"}\n' + LINES[0])
    b = written(tmp_path, "b.rec", LINES[1], continues="a.rec", continues_at=True)
    (joined,) = in_sittings([a, b])

    assert device_bytes(joined) == LINES[0] + LINES[1]
    assert len(joined.warnings) == 1
