"""What is not ours is refused, and every byte of it stays as it was."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tensionlog.errors import StoreError
from tensionlog.store import Store, opening
from tensionlog.store.migrations import STEPS
from tensionlog.store.opening import open_file


def opened(path: Path, *, must_exist: bool = False):
    return closing(open_file(path, must_exist=must_exist))


def bytes_beside(path: Path) -> dict[str, bytes]:
    """Content of the database and of its log, which together are the database.

    The `-shm` beside them is an index of the log that SQLite makes anew as it likes.
    """
    names = (path.name, f"{path.name}-wal")
    return {n: path.with_name(n).read_bytes() for n in names if path.with_name(n).exists()}


@contextmanager
def refused_untouched(path: Path, match: str) -> Iterator[None]:
    before = bytes_beside(path)
    with pytest.raises(StoreError, match=match):
        open_file(path, must_exist=False)
    yield
    assert bytes_beside(path) == before


def other_program(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE songs (title TEXT)")


def later_version(path: Path) -> None:
    Store(path).close()
    with closing(sqlite3.connect(path)) as db:
        db.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
            " VALUES ('tensionlog', 'm999_string_gauge', '')"
        )
        db.commit()


def test_a_new_database_gets_every_step(tmp_path):
    with opened(tmp_path / "a.db") as db:
        names = [row[0] for row in db.execute("SELECT name FROM _sqlite_migrations")]

    assert names == list(STEPS)


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("busy_timeout", 10_000),
        ("journal_size_limit", 67_108_864),
        ("application_id", opening.APPLICATION_ID),
    ],
)
def test_a_database_is_set_up_to_last(tmp_path, pragma, value):
    with opened(tmp_path / "a.db") as db:
        assert db.execute(f"PRAGMA {pragma}").fetchone()[0] == value


def test_every_table_is_strict(tmp_path):
    with opened(tmp_path / "a.db") as db:
        rows = db.execute("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'")
        lax = {name for name, strict in rows if not strict}

    views = {"services", "check_points", "calibration_decisions"}
    assert lax == {"_sqlite_migrations", "sqlite_schema", *views}


def test_an_empty_file_becomes_a_database(tmp_path):
    (tmp_path / "a.db").touch()
    with opened(tmp_path / "a.db") as db:
        assert "pulls" in db.table_names()


@pytest.mark.parametrize("name", ["a.db", "odd ?#%20 näme.db"])
def test_opening_again_writes_nothing(tmp_path, name):
    path = tmp_path / name
    open_file(path, must_exist=False).close()
    before = path.read_bytes()
    open_file(path, must_exist=True).close()

    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"x", b"bench,pull\n1,2\n" * 40, b"SQLite format 3\0cut"])
def test_a_file_that_is_no_database_is_refused(tmp_path, content):
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    with refused_untouched(path, r"notes\.txt is not a database\. Choose another file"):
        pass


def test_another_programs_database_is_refused(tmp_path):
    other_program(tmp_path / "songs.db")
    with refused_untouched(tmp_path / "songs.db", "another program's database"):
        pass


def test_another_programs_database_in_use_is_refused(tmp_path):
    path = tmp_path / "songs.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("CREATE TABLE songs (title TEXT)")
        with refused_untouched(path, "another program's database"):
            pass


def test_a_later_step_is_refused_with_both_names(tmp_path):
    path = tmp_path / "a.db"
    later_version(path)
    with refused_untouched(
        path,
        rf"a\.db has step m999_string_gauge, this version knows up to {STEPS[-1]}\. Upgrade",
    ):
        pass


def test_a_later_step_that_stands_only_in_the_log_is_refused(tmp_path):
    """As after a power cut while the later version was at work."""
    busy, left = tmp_path / "busy.db", tmp_path / "left.db"
    with Store(busy):  # whoever closes last moves the log into the file
        later_version(busy)
        for end in ("", "-wal"):
            left.with_name(left.name + end).write_bytes(
                busy.with_name(busy.name + end).read_bytes()
            )
    with refused_untouched(left, "m999_string_gauge"):
        pass


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(StoreError, match="cannot read"):
        open_file(tmp_path, must_exist=False)


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(StoreError, match=r"a\.db: unable to open .*folder exists"):
        open_file(tmp_path / "no" / "a.db", must_exist=False)


def test_a_reader_does_not_make_a_database_by_a_slip_of_the_pen(tmp_path):
    with pytest.raises(StoreError, match="there is no database at"):
        open_file(tmp_path / "a.db", must_exist=True)

    assert not (tmp_path / "a.db").exists()


def test_a_network_disk_is_refused_before_anything_is_made(tmp_path, monkeypatch):
    monkeypatch.setattr(opening, "network_type", lambda _: "nfs4")
    with pytest.raises(StoreError, match=r"network disk \(nfs4\).* disk of this computer"):
        open_file(tmp_path / "a.db", must_exist=False)

    assert list(tmp_path.iterdir()) == []


def test_a_database_that_was_half_made_is_finished(tmp_path):
    """The power went after the first setting, before the first step."""
    with closing(sqlite3.connect(tmp_path / "a.db")) as db:
        db.execute(f"PRAGMA application_id = {opening.APPLICATION_ID}")
    with opened(tmp_path / "a.db") as db:
        assert "pulls" in db.table_names()


def test_a_locked_database_says_so(tmp_path, monkeypatch):
    path = tmp_path / "a.db"
    with closing(sqlite3.connect(path, isolation_level=None)) as holder:
        holder.execute(f"PRAGMA application_id = {opening.APPLICATION_ID}")
        holder.execute("BEGIN EXCLUSIVE")
        monkeypatch.setattr(opening, "_BUSY_TIMEOUT_S", 0.02)
        with pytest.raises(StoreError, match=r"locked\. Another program holds it"):
            open_file(path, must_exist=False)


def test_a_disk_without_a_log_is_refused(tmp_path, monkeypatch):
    """A database in exclusive use of shared memory stands in for such a disk."""
    real = sqlite3.connect

    def without_wal(path, **settings):
        return real(f"file:{path}?vfs=unix-dotfile", uri=True, **settings)

    monkeypatch.setattr(opening.sqlite3, "connect", without_wal)
    with pytest.raises(StoreError, match=r"no write-ahead log \(it stays at 'delete'\)"):
        open_file(tmp_path / "a.db", must_exist=False)
