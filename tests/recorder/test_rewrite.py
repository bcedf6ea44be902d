"""Only notes are rewritten, the file says so, and whatever fails it is still what it was."""

import gzip

import pytest

from tensionlog.errors import RecordingError
from tensionlog.recorder import rewrite
from tensionlog.recorder.rewrite import rewrite_notes

HEAD = b'# tensionlog-recording 1\n# {"bench": "n"}\n'
LINES = b"@ 2026-03-02T09:00:00.000000Z\nS,0,0,1*0000\n! no note\n! [1]\n\xff\x00\n"
NOTE = b'! {"at": "2026-03-02T09:00:00Z", "note": "remark", "text": "A. Example"}\n'
SAYS = {"at": "2026-03-03T09:00:00Z", "note": "erased"}


def without_text(body):
    return {key: value for key, value in body.items() if key != "text"}


@pytest.mark.parametrize("packed", [False, True])
def test_the_note_is_changed_and_every_other_byte_stays(tmp_path, packed):
    path = tmp_path / ("a.rec.gz" if packed else "a.rec")
    data = HEAD + LINES + NOTE + LINES
    path.write_bytes(gzip.compress(data) if packed else data)

    assert rewrite_notes(path, without_text, says=SAYS) == 1
    found = gzip.decompress(path.read_bytes()) if packed else path.read_bytes()
    assert found == (
        HEAD + LINES + b'! {"at": "2026-03-02T09:00:00Z", "note": "remark"}\n' + LINES
        + b'! {"at": "2026-03-03T09:00:00Z", "note": "erased", "notes": 1}\n'
    )  # fmt: skip


def test_where_nothing_is_to_be_changed_the_file_is_not_touched(tmp_path):
    path = tmp_path / "a.rec"
    path.write_bytes(HEAD + LINES)
    before = path.stat().st_mtime_ns

    assert rewrite_notes(path, without_text, says=SAYS) == 0
    assert path.stat().st_mtime_ns == before


def test_a_torn_last_line_stays_one(tmp_path):
    path = tmp_path / "a.rec"
    path.write_bytes(HEAD + NOTE + b"S,0,12")
    rewrite_notes(path, without_text, says=SAYS)

    assert b"\nS,0,12~\n! " in path.read_bytes()


def test_whatever_fails_the_recording_is_still_what_it_was(tmp_path, monkeypatch):
    path = tmp_path / "a.rec"
    path.write_bytes(HEAD + NOTE)

    def fails(*_args):
        raise RecordingError("the disk is full")

    monkeypatch.setattr(rewrite, "put_file", fails)
    with pytest.raises(RecordingError, match="full"):
        rewrite_notes(path, without_text, says=SAYS)
    assert path.read_bytes() == HEAD + NOTE


def test_a_file_that_is_not_there_or_no_gzip_is_one_line(tmp_path):
    (tmp_path / "a.rec.gz").write_bytes(b"no gzip at all")
    for name in ("none.rec", "a.rec.gz"):
        with pytest.raises(RecordingError, match="cannot read"):
            rewrite_notes(tmp_path / name, without_text, says=SAYS)
