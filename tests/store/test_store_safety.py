"""Copies are whole, damage is noticed, and nothing is half written."""

import pytest

from tensionlog.errors import StoreError
from tensionlog.store import Store, safety, set_aside
from tensionlog.store.safety import write_whole


@pytest.fixture
def path(tmp_path, sittings):
    """A closed database of all sittings."""
    with Store(tmp_path / "a.db") as store:
        for sitting in sittings:
            sitting.play(store)
    return tmp_path / "a.db"


def names(folder):
    return sorted(file.name for file in folder.iterdir())


def test_a_copy_holds_what_stands_in_the_log_too(path, sittings, tmp_path):
    with Store(path) as store, Store(path) as reader:
        reader.recordings()
        store.forget_all()
        sittings[0].play(store)
        store.backup_to(tmp_path / "copy.db")
        with Store(tmp_path / "copy.db", must_exist=True) as copy:
            assert copy.dump() == store.dump()
            assert copy.quick_check() == []


def test_a_copy_replaces_the_last_one_and_leaves_nothing_else(path, tmp_path):
    (tmp_path / "copy.db").write_text("the last copy")
    with Store(path) as store:
        store.backup_to(tmp_path / "copy.db")

    assert names(tmp_path) == ["a.db", "copy.db"]
    assert (tmp_path / "copy.db").read_bytes()[:6] == b"SQLite"


def test_a_copy_while_another_writes_is_of_one_moment(path, sittings, tmp_path):
    with Store(path) as store, Store(path) as writer:
        before = store.dump()
        with writer.transaction():
            writer.forget_all()
            store.backup_to(tmp_path / "copy.db")
    with Store(tmp_path / "copy.db") as copy:
        assert copy.dump() == before


def test_a_copy_onto_a_database_in_use_is_refused(path, tmp_path):
    with Store(path) as store, Store(tmp_path / "b.db") as other:
        other.recordings()
        for target in (path, tmp_path / "b.db"):
            with pytest.raises(StoreError, match="is a database in use"):
                store.backup_to(target)


def test_a_copy_into_a_missing_folder_names_that_place(path, tmp_path):
    with (
        Store(path) as store,
        pytest.raises(StoreError, match=r"^\S*no/copy\.db: unable to open"),
    ):
        store.backup_to(tmp_path / "no" / "copy.db")


def test_a_copy_that_cannot_be_synced_is_no_copy(path, tmp_path, monkeypatch):
    (tmp_path / "copy.db").write_text("the last copy")

    def broken(_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(safety.os, "fsync", broken)
    with Store(path) as store, pytest.raises(StoreError, match=r"cannot write .*Input/output"):
        store.backup_to(tmp_path / "copy.db")

    assert (tmp_path / "copy.db").read_text() == "the last copy"
    assert names(tmp_path) == ["a.db", "copy.db"]


def test_file_then_name_then_folder_reach_the_disk(tmp_path, monkeypatch):
    """A name without its bytes, or bytes without a name, would be lost by a power cut."""
    steps = []
    monkeypatch.setattr(safety, "_sync", lambda p: steps.append(("sync", p.name)))
    monkeypatch.setattr(safety, "_sync_folder", lambda p: steps.append(("sync", p.name)))
    write_whole(
        tmp_path / "x", lambda p: p.write_text("new") and steps.append(("write", p.name))
    )

    assert steps == [("write", "x.part"), ("sync", "x.part"), ("sync", tmp_path.name)]
    assert (tmp_path / "x").read_text() == "new"


def test_a_sound_database_has_no_problems(path):
    with Store(path) as store:
        assert store.quick_check() == []


@pytest.mark.parametrize("keep", [100, 1000, 4096, 5000, 12_288, 40_000, -1])
def test_a_database_cut_short_is_noticed(path, keep):
    content = path.read_bytes()
    path.write_bytes(content[:keep])
    try:
        with Store(path) as store:
            problems = store.quick_check()
    except StoreError as error:
        problems = [str(error)]

    assert problems != []


def test_a_damaged_head_is_noticed(path):
    content = bytearray(path.read_bytes())
    content[100:140] = bytes(40)
    path.write_bytes(content)
    with pytest.raises(StoreError, match=r"malformed\. Rebuild it from the recordings"):
        Store(path)


def test_a_damaged_database_moves_aside_with_its_log(path, sittings, tmp_path):
    path.with_name("a.db-wal").write_bytes(b"log")
    path.with_name("a.db-shm").write_bytes(b"index")

    aside = set_aside(path, suffix=".damaged")

    assert names(tmp_path) == ["a.db.damaged", "a.db.damaged-shm", "a.db.damaged-wal"]
    assert aside == tmp_path / "a.db.damaged"


def test_a_database_without_a_log_moves_aside_alone(path, tmp_path):
    set_aside(path, suffix=".damaged")

    assert names(tmp_path) == ["a.db.damaged"]


def test_an_earlier_one_set_aside_is_not_overwritten(path, tmp_path):
    (tmp_path / "a.db.damaged").write_text("earlier")
    with pytest.raises(StoreError, match="is there already"):
        set_aside(path, suffix=".damaged")

    assert path.exists()
