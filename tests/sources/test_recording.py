"""Recordings as they lie on the disk: host lines apart from device bytes."""

import gzip
import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival, Note
from tensionlog.sources import open_recording
from tensionlog.sources.recording import RecordingReader

HEAD = b'# tensionlog-recording 1\n# {"bench": "north", "started": "2026-03-02T09:00:00Z"}\n'
START_S = 1772442000.0
AT = b"@ 2026-03-02T09:00:00.250000Z\n"
ARRIVED = Arrival(START_S + 0.25)
REDO = b'! {"at": "2026-03-02T09:00:01Z", "note": "redo"}\n'
REDONE = Note(START_S + 1.0, "redo", {"at": "2026-03-02T09:00:01Z", "note": "redo"})

device_lines = st.one_of(
    st.just(b"S,0,4293999990,84122*E6F7\n"),
    st.binary(max_size=40).map(lambda raw: raw.replace(b"\n", b"") + b"\n"),
    st.sampled_from(
        [
            b"@ soon\n",
            b"@\n",
            b"! {\n",
            b'! ["at"]\n',
            b"!\n",
            b"# x\n",
            b"@ 2026-03-02\n",
            b"\n",
        ]
    ),
)
times = st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1))  # noqa: DTZ001 - made aware below


@pytest.fixture
def write(tmp_path):
    def write_file(body: bytes, *, head: bytes = HEAD, name: str = "a.rec") -> RecordingReader:
        path = tmp_path / name
        packed = gzip.compress(head + body, 1) if name.endswith(".gz") else head + body
        path.write_bytes(packed)
        return open_recording(path)

    return write_file


def joined(items) -> list:
    """Items with neighbouring pieces of device bytes put together."""
    out: list = []
    for item in items:
        if isinstance(item, bytes) and out and isinstance(out[-1], bytes):
            out[-1] += item
        else:
            out.append(item)
    return out


def host_line(time: datetime, is_note: bool) -> tuple[bytes, Arrival | Note]:
    aware = time.replace(tzinfo=UTC)
    text = aware.isoformat(timespec="microseconds").replace("+00:00", "Z")
    if not is_note:
        return b"@ " + text.encode() + b"\n", Arrival(aware.timestamp())
    body = {"at": text, "note": "mark", "n": [1, {"x": "é"}]}
    return b"! " + json.dumps(body).encode() + b"\n", Note(aware.timestamp(), "mark", body)


parts = st.one_of(
    device_lines.map(lambda raw: (raw, raw)), st.builds(host_line, times, st.booleans())
)


@given(st.lists(parts, max_size=25), st.sampled_from(["a.rec", "a.rec.gz"]))
def test_what_was_woven_together_comes_apart(tmp_path_factory, woven, name):
    """Device bytes verbatim, host lines as values, in file order; gzip or not."""
    path = tmp_path_factory.mktemp("woven") / name
    stream = HEAD + AT + b"".join(raw for raw, _ in woven)
    path.write_bytes(gzip.compress(stream, 1) if name.endswith("gz") else stream)
    assert joined(open_recording(path)) == joined([ARRIVED, *(item for _, item in woven)])


@given(st.lists(times, min_size=1, max_size=20))
def test_arrival_times_are_exact_to_the_microsecond(tmp_path_factory, times):
    """The short cut by minutes gives what the slow way gives."""
    path = tmp_path_factory.mktemp("times") / "a.rec"
    near = [time + timedelta(seconds=n) for time in times for n in (0, 1)]
    lines = [host_line(time, is_note=False) for time in near]
    path.write_bytes(HEAD + b"".join(raw for raw, _ in lines))
    assert list(open_recording(path)) == [arrival for _, arrival in lines]


@pytest.mark.parametrize(
    ("line", "at_s"),
    [
        (b"@ 2026-03-02T09:00:00Z", START_S),
        (b"@ 2026-03-02T10:00:00.5+01:00", START_S + 0.5),
        (b"@ 2026-03-02T09:00:00.5", START_S + 0.5),
        (b"@ 20260302T090000Z", START_S),
        (b"@ 2026-03-02T09:00:00.250000Z\r", START_S + 0.25),
    ],
)
def test_any_iso_time_is_an_arrival(write, line, at_s):
    assert list(write(line + b"\n")) == [Arrival(at_s)]


@pytest.mark.parametrize(
    "line",
    [
        b"@ 2026-03-02",
        b"@ 2026-03-02T09:00:60.000000Z",
        b"@ 2026-03-02T09:00:1e1000000Z",
        b"@2026-03-02T09:00:00Z",
        b" @ 2026-03-02T09:00:00Z",
        b"@ now",
        b'! "redo"',
        b"! {'note': 'redo'}",
        b'!{"note": "redo"}',
        b"! " + b"[" * 100_000,
        b"# a comment after the beginning",
        b"~",
    ],
)
def test_anything_else_came_from_the_device(write, line):
    assert joined(write(AT + line + b"\n")) == [ARRIVED, line + b"\n"]


def test_a_minute_seen_before_does_not_excuse_a_bad_second(write):
    bad = b"@ 2026-03-02T09:00:99.250000Z\n@ 2026-03-02T09:00:0x.250000Z\n"
    assert joined(write(AT + bad + AT)) == [ARRIVED, bad, ARRIVED]


def test_a_host_line_in_mid_line_is_the_devices(write):
    assert joined(write(b"S,1" + AT + REDO)) == [b"S,1" + AT, REDONE]


def test_a_json_object_that_is_no_note_is_left_out_silently(write):
    reader = write(b'! {"hello": 1}\n! {"note": 7, "at": "x"}\n' + REDO)
    assert list(reader) == [REDONE]
    assert reader.warnings == []


def test_a_note_without_a_time_is_left_out_with_a_warning(write):
    reader = write(b'! {"note": "redo"}\n! {"note": "undo", "at": "noon"}\n')
    assert list(reader) == []
    assert [warning.split(": ")[1] for warning in reader.warnings] == [
        "the note 'redo' has no time",
        "the note 'undo' has no time",
    ]


@pytest.mark.parametrize(
    ("tail", "items"),
    [
        (b"S,1,25", [b"S,1,25"]),
        (AT[:-1], [ARRIVED]),
        (AT[:-2], [ARRIVED]),
        (AT[:6], [AT[:6]]),
        (REDO[:-1], [REDONE]),
        (REDO[:-2], [REDO[:-2]]),
    ],
)
def test_the_last_line_may_be_torn(write, tail, items):
    assert joined(write(tail)) == items


def test_crlf_at_the_ends_of_host_lines_is_tolerated(write):
    head = HEAD.replace(b"\n", b"\r\n")
    assert joined(write(AT[:-1] + b"\r\nS\r\n" + REDO[:-1] + b"\r\n", head=head)) == [
        ARRIVED,
        b"S\r\n",
        REDONE,
    ]


def test_a_recording_may_be_iterated_again(write):
    reader = write(AT + b"S\n" + b'! {"note": "redo"}\n')
    assert list(reader) == list(reader) == [ARRIVED, b"S\n"]
    assert len(reader.warnings) == 1
    assert reader.started_s == START_S


def test_notes_alone_and_nothing_at_all_are_recordings_too(write):
    assert list(write(REDO)) == [REDONE]
    assert list(write(b"")) == []
    assert list(write(b"", head=HEAD[:-1])) == []


def test_more_leading_lines_are_the_hosts(write):
    assert list(write(b"# made by hand\n# twice\n" + AT + b"# S\n")) == [ARRIVED, b"# S\n"]


@pytest.mark.parametrize("name", ["a.rec", "a.rec.gz"])
def test_big_recordings_come_in_blocks(write, name):
    """Host lines and device lines on every border of a block, and one flood without LF."""
    body = b"".join(AT + b"S,%d\n" % n * 7 for n in range(30_000))
    flood = b"\x55" * 3_000_000 + b"\n"
    reader = write(body + flood + REDO, name=name)
    pieces = list(reader)
    assert b"".join(p for p in pieces if isinstance(p, bytes)) == body.replace(AT, b"") + flood
    assert pieces.count(ARRIVED) == 30_000
    assert pieces[-1] == REDONE
    assert max(len(piece) for piece in pieces if isinstance(piece, bytes)) < 2_000_000


def test_a_gzip_cut_short_is_read_as_far_as_it_goes(tmp_path):
    body = b"".join(b"S,%d,%d\n" % (n, n * 7919 % 65536) for n in range(20_000))
    packed = gzip.compress(HEAD + body)
    path = tmp_path / "a.rec.gz"
    path.write_bytes(packed[: len(packed) // 2])
    reader = open_recording(path)
    got = b"".join(reader)
    assert body.startswith(got)
    assert len(got) > len(body) // 3
    assert "ends before" in reader.warnings[0]


def test_a_gzip_damaged_inside_is_read_up_to_the_damage(tmp_path):
    body = b"".join(b"S,%d,%d\n" % (n, n * 7919 % 65536) for n in range(20_000))
    packed = bytearray(gzip.compress(HEAD + body))
    packed[-4] ^= 0xFF  # the length at the end: all data are there
    path = tmp_path / "a.rec.gz"
    path.write_bytes(packed)
    reader = open_recording(path)
    assert b"".join(reader) == body
    assert "damaged inside" in reader.warnings[0]


def test_several_gzip_members_and_padding_are_one_recording(tmp_path):
    path = tmp_path / "a.rec.gz"
    path.write_bytes(gzip.compress(HEAD + b"S") + gzip.compress(b",1\n", mtime=0) + bytes(512))
    reader = open_recording(path)
    assert joined(reader) == [b"S,1\n"]
    assert reader.warnings == []


def test_gzip_is_told_by_its_first_bytes_not_by_its_name(tmp_path):
    path = tmp_path / "renamed.rec"
    path.write_bytes(gzip.compress(HEAD + AT))
    assert list(open_recording(path)) == [ARRIVED]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n....", "a PNG picture"),
        (b"SQLite format 3\x00....", "an SQLite database"),
        (b"time,force\n1,2\n", "begins with b'time,force"),
        (b"S,0,4293999990,84122*E6F7\n", "device lines without a header"),
        (gzip.compress(b"PAR1....", mtime=0), "a Parquet file"),
        (b"# tensionlog-recording 2\n# {}\n", "of version '2'"),
        (b"# something else\n", "is not a recording"),
        (b"# tensionlog-recording 1\n", "is not JSON"),
        (b"# tensionlog-recording 1\n# {'bench': 1}\n", "is not JSON"),
        (b"# tensionlog-recording 1\n# [1]\n", "not a JSON object"),
        (b"# tensionlog-recording 1\n# " + b"x" * 2_000_000, "is not JSON"),
    ],
)
def test_of_a_file_of_another_kind_one_line_says_what_it_is(tmp_path, content, says):
    path = tmp_path / "x.rec"
    path.write_bytes(content)
    with pytest.raises(RecordingError) as caught:
        open_recording(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def test_there_is_no_such_file(tmp_path):
    with pytest.raises(RecordingError, match="there is no file"):
        open_recording(tmp_path / "none.rec")


def test_a_folder_is_no_recording(tmp_path):
    with pytest.raises(RecordingError, match="is a folder"):
        open_recording(str(tmp_path))


def test_a_name_the_system_refuses(tmp_path):
    with pytest.raises(RecordingError, match="cannot read"):
        open_recording(tmp_path / ("x" * 300))


@pytest.mark.slow
def test_speed_with_an_arrival_for_every_sample(write):
    """60,000 × real time at 80/s, measured; a third of it is asked for on a busy machine."""
    import time

    line = b"S,0,4293999990,84122*E6F7\n"
    reader = write((AT + line) * 100_000)
    begin = time.process_time()
    assert sum(isinstance(item, bytes) for item in reader) == 100_000
    assert 100_000 / (time.process_time() - begin) > 100_000


def test_the_digest_is_that_of_the_uncompressed_bytes(write):
    body = AT + b"S\n"
    plain, packed = write(body), write(body, name="b.rec.gz")
    assert plain.digest() == packed.digest() == hashlib.sha256(HEAD + body).hexdigest()
