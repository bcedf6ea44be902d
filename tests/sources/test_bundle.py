"""A bundle from anywhere: taken whole or refused in one line, never trusted."""

import json
import zipfile
from hashlib import sha256

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.errors import RecordingError
from tensionlog.recorder.bundle import Packed, write_bundle
from tensionlog.sources.bundle import FORMAT, MANIFEST, VERSION, BundleReader, begins_with

SMALL = b"# tensionlog-recording 1\n" + b"S,0,0,1*0000\n" * 150
ABOUT = {"format": FORMAT, "version": VERSION}
BODY = b"# tensionlog-recording 1\n" + b"S,0,0,1*0000\n" * 9_000


@pytest.fixture
def bundle(tmp_path):
    (tmp_path / "a.rec").write_bytes(BODY)
    write_bundle(tmp_path / "b.zip", [Packed("recordings/a.rec", tmp_path / "a.rec")], ABOUT)
    return tmp_path / "b.zip"


def forged(path, *, names=("recordings/a.rec",), body=BODY, about=None, **entry):
    """A bundle written by somebody else, some of it not as it should be."""
    fields = {"bytes": len(body), "sha256": sha256(body).hexdigest()} | entry
    files = [{"name": name} | fields for name in names]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in dict.fromkeys(names):
            packed.writestr(name, body)
        packed.writestr(MANIFEST, json.dumps(ABOUT | {"files": files} | (about or {})))
    return path


def read(path) -> list[bytes]:
    with BundleReader(path) as reader:
        return [b"".join(reader.blocks(member)) for member in reader.members]


def test_what_was_packed_comes_out(bundle):
    assert read(bundle) == [BODY]
    assert list(bundle.parent.glob("*.part")) == []


def test_a_recording_that_grows_is_packed_up_to_its_last_whole_line(tmp_path):
    (tmp_path / "a.rec").write_bytes(BODY + b"S,1,2")
    write_bundle(tmp_path / "b.zip", [Packed("recordings/a.rec", tmp_path / "a.rec")], ABOUT)

    assert read(tmp_path / "b.zip") == [BODY]


@pytest.mark.parametrize(
    "name",
    ["../a.rec", "/etc/a.rec", "recordings/../../a.rec", "recordings/a.txt",
     "recordings/.a.rec",
     "recordings\\a.rec", "C:/a.rec", "recordings/a/b.rec", "bench.toml\n"],
)  # fmt: skip
def test_a_name_that_no_bundle_holds_is_refused(tmp_path, name):
    path = forged(tmp_path / "b.zip", names=(name,))

    with pytest.raises(RecordingError, match="which no bundle holds"):
        read(path)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"bytes": 10}, "holds more of"),
        ({"bytes": 10**9}, "as it was packed"),
        ({"sha256": "0" * 64}, "as it was packed"),
        ({"sha256": 7}, "for the digest"),
        ({"bytes": True}, "for the length"),
        ({"about": {"version": 9}}, "upgrade"),
        ({"about": {"format": "x"}}, "not a bundle of ours"),
        ({"about": {"files": 3}}, "names no files"),
        ({"names": ("recordings/a.rec", "recordings/a.rec")}, "one of them twice"),
    ],
)
def test_what_is_not_as_the_manifest_says_is_refused_in_one_line(tmp_path, changes, why):
    path = forged(tmp_path / "b.zip", **changes)

    with pytest.raises(RecordingError, match=why) as caught:
        read(path)
    assert len(str(caught.value).splitlines()) == 1


def test_a_member_that_the_manifest_does_not_name_is_refused(tmp_path):
    path = forged(tmp_path / "b.zip")
    with zipfile.ZipFile(path, "a") as packed:
        packed.writestr("evil.py", "import os")

    with pytest.raises(RecordingError, match="evil"):
        BundleReader(path)


def test_a_bomb_is_read_no_further_than_the_manifest_allows(tmp_path):
    path = forged(tmp_path / "b.zip", body=bytes(50_000_000), bytes=1000)
    with BundleReader(path) as reader:
        taken = 0
        with pytest.raises(RecordingError, match="holds more"):
            for block in reader.blocks(reader.members[0]):
                taken += len(block)

    assert taken == 0


@settings(max_examples=25)
@given(at=st.integers(0, 1 << 20), byte=st.integers(0, 255), cut=st.booleans())
def test_a_damaged_bundle_is_the_same_or_one_line(tmp_path_factory, at, byte, cut):
    """Law: what comes out is what went in, or an error of ours."""
    folder = tmp_path_factory.mktemp("b")
    (folder / "a.rec").write_bytes(SMALL)
    write_bundle(folder / "b.zip", [Packed("recordings/a.rec", folder / "a.rec")], ABOUT)
    data = bytearray((folder / "b.zip").read_bytes())
    data[at % len(data)] = byte
    (folder / "b.zip").write_bytes(data[: at % len(data)] if cut else data)
    try:
        found = read(folder / "b.zip")
    except RecordingError:
        return
    assert found in ([SMALL], [])


@pytest.mark.parametrize("content", [b"", b"PK", b"# tensionlog-recording 1\n", b"\0" * 99])
def test_what_is_no_bundle_is_said_to_be_none(tmp_path, content):
    (tmp_path / "b.zip").write_bytes(content)

    with pytest.raises(RecordingError, match="no bundle of ours"):
        BundleReader(tmp_path / "b.zip")


def test_a_bundle_that_is_not_there(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read: No such file"):
        BundleReader(tmp_path / "none.zip")


def test_a_file_that_has_grown_since_begins_with_what_was_packed(bundle, tmp_path):
    with BundleReader(bundle) as reader:
        (member,) = reader.members
    (tmp_path / "a.rec").write_bytes(BODY + b"more\n")
    assert begins_with(tmp_path / "a.rec", member)
    (tmp_path / "a.rec").write_bytes(BODY[:-1])
    assert not begins_with(tmp_path / "a.rec", member)
