"""Faults of the database alone: what is beside it, and who keeps it open.

Names begin with the row of `tests/lost/faults.md`.
"""

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest

from tensionlog.pipeline.catch_up import catch_up, not_stored
from tensionlog.pipeline.rebuild import rebuild
from tensionlog.pipeline.verify import verify_recording
from tensionlog.recorder import Recorder
from tensionlog.sources.recording import open_recording
from tensionlog.store import Store, opening

HEADER = {"bench": "north", "purpose": "free", "rate_hz": 80.0, "adc_bits": 24}
LIMIT = 1 << 16


@pytest.fixture
def write_down(tmp_path):
    """Make recordings of notes alone; give their paths."""

    def make(count: int, *, letters: int = 0):
        paths = []
        for n in range(count):
            with Recorder(tmp_path / "r", HEADER, in_background=False) as recorder:
                recorder.note({"note": "remark", "text": f"{n} " + "x" * letters})
            paths.append(recorder.path)
        return paths

    return make


def test_d16_a_log_deleted_beside_a_database_is_found_and_made_good(tmp_path, write_down):
    """A program is killed with its log full, and somebody tidies up what lies about."""
    paths, killed = write_down(3), tmp_path / "killed"
    killed.mkdir()
    with Store(tmp_path / "a.db") as store:
        catch_up(store, paths[:1])
    with Store(tmp_path / "a.db") as store:
        catch_up(store, paths)
        for name in ("a.db", "a.db-wal"):
            shutil.copy(tmp_path / name, killed / name)  # as a kill leaves them
        whole = store.dump()
    (killed / "a.db-wal").unlink()

    with Store(killed / "a.db") as store:
        lacking, _ = not_stored(store, paths)
        assert set(lacking) == set(paths[1:])
        catch_up(store, paths)
        assert not_stored(store, paths) == ([], [])
        assert store.dump() == whole
    assert rebuild(killed / "a.db", paths, at=datetime.now(UTC)).was_identical
    assert [verify_recording(open_recording(path)).problems for path in paths] == [()] * 3


def test_d18_a_reader_that_is_never_closed_delays_nobody_and_leaves_no_big_log(
    tmp_path, write_down, monkeypatch
):
    """Hours are sittings here: what a log grows by is what is written, not time."""
    monkeypatch.setattr(opening, "_JOURNAL_LIMIT_BYTES", LIMIT)
    paths, db, log = write_down(25, letters=30_000), tmp_path / "a.db", tmp_path / "a.db-wal"
    with Store(db) as store:
        catch_up(store, paths[:1])
    with (
        closing(sqlite3.connect(db, isolation_level=None)) as reader,
        Store(db) as store,
    ):
        reader.execute("BEGIN")
        seen = reader.execute("SELECT count(*) FROM recordings").fetchone()
        catch_up(store, paths[:-1])
        assert log.stat().st_size > LIMIT
        assert not_stored(store, paths[:-1]) == ([], [])
        assert reader.execute("SELECT count(*) FROM recordings").fetchone() == seen
        reader.execute("COMMIT")
        catch_up(store, paths)  # checkpointed as it is left, and cut back with the next
        store.backup_to(tmp_path / "copy.db")
        assert not_stored(store, paths) == ([], [])
    assert not log.exists() or log.stat().st_size <= LIMIT
