"""The database from the recordings: whole, identical, and never the old one lost."""

import gzip
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest

from tensionlog.errors import RecordingError, StoreError
from tensionlog.pipeline.rebuild import rebuild, recordings_in
from tensionlog.pipeline.replay import replay_all
from tensionlog.store import Store
from tensionlog.twin import play_job
from tensionlog.twin.played import FIRST_DAY

NOW = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)


def one_pull(seed: int, hours: int) -> bytes:
    """A job broken off after one pull, so many hours after the first."""
    began = FIRST_DAY + timedelta(hours=hours)
    job = {"sport": "squash", "mains": 2, "crosses": 0, "at_most": 1, "pace": 0.2}
    return play_job(seed=seed, started=began, **job).recording


MORNING, NOON = one_pull(5, 0), one_pull(6, 3)


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "day"
    (folder / "late").mkdir(parents=True)
    (folder / "short.rec").write_bytes(MORNING)
    (folder / "late" / "later.rec.gz").write_bytes(gzip.compress(NOON))
    (folder / "notes.txt").write_text("not a recording")
    return folder


@pytest.fixture
def db(tmp_path, folder):
    path = tmp_path / "a.db"
    with Store(path) as store:
        list(replay_all(recordings_in([folder]), store=store))
    return path


def dumped(path) -> str:
    with Store(path, must_exist=True) as store:
        return store.dump()


def built(db, *places):
    return rebuild(db, recordings_in(list(places)), at=NOW)


def test_recordings_are_found_in_folders_whatever_their_depth(folder):
    assert [p.name for p in recordings_in([folder])] == ["later.rec.gz", "short.rec"]
    assert recordings_in([folder / "short.rec"]) == [folder / "short.rec"]


def test_a_folder_that_is_not_there_or_empty_changes_nothing(tmp_path):
    (tmp_path / "empty").mkdir()

    with pytest.raises(RecordingError, match="no recording"):
        recordings_in([tmp_path / "empty"])
    with pytest.raises(RecordingError, match="there is no folder"):
        recordings_in([tmp_path / "nowhere"])


def test_a_new_database_is_the_one_that_was_built_recording_by_recording(tmp_path, folder, db):
    result = built(tmp_path / "new.db", folder)

    assert dumped(tmp_path / "new.db") == dumped(db)
    assert (result.sittings, result.pulls, result.errors) == (2, 2, ())
    assert result.old is None


def test_an_identical_database_stays_as_it_is(folder, db):
    before = db.read_bytes()

    result = built(db, folder)

    assert result.was_identical
    assert db.read_bytes() == before
    assert [p.name for p in db.parent.glob("*.db*")] == ["a.db"]


def test_a_database_that_was_bent_is_replaced_and_kept_beside(folder, db):
    whole = dumped(db)
    connection = sqlite3.connect(db)
    connection.execute("UPDATE pulls SET release_n = 0")
    connection.commit()
    connection.close()

    result = built(db, folder)

    assert dumped(db) == whole
    assert result.old == db.with_name("a.db.before-20260309T120000Z")
    assert dumped(result.old) != whole


def test_a_damaged_database_is_replaced_and_kept_beside(folder, db):
    whole = dumped(db)
    content = bytearray(db.read_bytes())
    content[5000:] = b"\xff" * (len(content) - 5000)
    db.write_bytes(content)

    result = built(db, folder)

    assert dumped(db) == whole
    assert result.old is not None
    assert result.old.read_bytes() == bytes(content)


def test_a_database_with_a_sitting_that_no_recording_gives_stays(folder, db):
    before = dumped(db)

    with pytest.raises(StoreError, match=r"no recording gives 1 of the sittings in .*a\.db"):
        built(db, folder / "short.rec")

    assert dumped(db) == before


def test_a_recording_beside_its_compressed_copy_counts_once(folder, tmp_path):
    copy = folder / "short.rec.gz"
    copy.write_bytes(gzip.compress((folder / "short.rec").read_bytes()))

    result = built(tmp_path / "new.db", folder)

    assert (result.sittings, result.errors) == (2, ())


def test_two_files_of_one_sitting_with_other_bytes_are_told(folder, tmp_path):
    longer = (folder / "short.rec").read_bytes() + b"K,more*0000\n"
    (folder / "shorter.rec").write_bytes(longer)

    result = built(tmp_path / "new.db", folder)

    assert result.sittings == 2
    assert "the same sitting" in str(result.errors[0])


def test_a_bad_file_is_told_and_the_rest_is_built(folder, tmp_path):
    (folder / "bad.rec").write_bytes(b"")

    result = built(tmp_path / "new.db", folder)

    assert result.sittings == 2
    assert "empty" in str(result.errors[0])


def test_what_an_interrupted_rebuild_left_is_cleared_away(folder, tmp_path):
    (tmp_path / "new.db.rebuilding").write_bytes(b"half")

    assert built(tmp_path / "new.db", folder).sittings == 2


def test_someone_elses_file_is_never_replaced(folder, tmp_path):
    other = tmp_path / "other.db"
    other.write_text("my shopping list")

    with pytest.raises(StoreError, match="not a database"):
        built(other, folder)

    assert other.read_text() == "my shopping list"
