"""A finished recording to `.rec.gz`."""

import errno
import gzip
from pathlib import Path

import pytest

from tensionlog.errors import RecordingError
from tensionlog.recorder import Disk, compress_finished

CONTENT = b"# tensionlog-recording 1\n" + b"S,0,4293999990,84122*E6F7\n" * 20_000


@pytest.fixture
def recording(tmp_path) -> Path:
    path = tmp_path / "north.rec"
    path.write_bytes(CONTENT)
    return path


def broken(*_args) -> None:
    raise OSError(errno.EIO, "Input/output error")


def test_the_copy_reads_back_and_the_original_is_gone(recording):
    packed = compress_finished(recording)
    assert packed == recording.with_name("north.rec.gz")
    assert gzip.decompress(packed.read_bytes()) == CONTENT
    assert [path.name for path in recording.parent.iterdir()] == ["north.rec.gz"]


def test_the_same_recording_gives_the_same_file(recording):
    first = compress_finished(recording).read_bytes()
    recording.with_name("north.rec.gz").unlink()
    recording.write_bytes(CONTENT)
    assert compress_finished(recording).read_bytes() == first


@pytest.mark.parametrize("call", ["sync", "sync_folder", "remove"])
def test_whatever_fails_the_recording_is_still_there(recording, call):
    with pytest.raises(RecordingError, match="It is kept as it was"):
        compress_finished(recording, disk=Disk(**{call: broken}))
    assert recording.read_bytes() == CONTENT
    assert not recording.with_name("north.rec.gz.part").exists()
    assert gzip.decompress(compress_finished(recording).read_bytes()) == CONTENT


def test_a_crash_before_the_removal_is_made_good_the_next_time(recording):
    recording.with_name("north.rec.gz").write_bytes(gzip.compress(CONTENT))
    compress_finished(recording)
    assert not recording.exists()


@pytest.mark.parametrize(
    ("other", "says"), [(CONTENT[:-1], "does not hold"), (CONTENT + b"S", "holds more")]
)
def test_another_file_of_that_name_is_left_alone(recording, other, says):
    packed = recording.with_name("north.rec.gz")
    packed.write_bytes(gzip.compress(other))
    with pytest.raises(RecordingError, match=says):
        compress_finished(recording)
    assert recording.read_bytes() == CONTENT
    assert gzip.decompress(packed.read_bytes()) == other


def test_a_damaged_copy_is_not_trusted(recording):
    packed = recording.with_name("north.rec.gz")
    packed.write_bytes(gzip.compress(CONTENT)[:-20])
    with pytest.raises(RecordingError):
        compress_finished(recording)
    assert recording.exists()


def test_there_must_be_a_recording(tmp_path):
    with pytest.raises(RecordingError, match="cannot compress"):
        compress_finished(tmp_path / "none.rec")
