"""`backup`, `restore`, `import`, `export --out x.zip`: nothing is lost, nothing overwritten."""

import zipfile

import pytest

from tensionlog.sources.recording import open_recording
from tensionlog.store import Store


@pytest.fixture
def bench(run, short_job, stored_once, tmp_path):
    """A bench with one job recorded and stored; how to name its places."""
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "short.rec").write_bytes(short_job.recording)
    (tmp_path / "a.db").write_bytes(stored_once)
    run("bench", "set", "--name", "north", "--operator", "A. Stringer")
    return ("--folder", tmp_path / "r", "--db", tmp_path / "a.db")


def dump(path) -> str:
    with Store(path, must_exist=True) as store:
        return store.dump_sha256()


def test_a_backup_restored_elsewhere_is_the_same_bench(run, bench, tmp_path):
    backed = run("backup", tmp_path / "b.zip", *bench)
    there = ("--folder", tmp_path / "r2", "--db", tmp_path / "b.db")
    restored = run("restore", tmp_path / "b.zip", *there, "--json")

    assert (backed.code, restored.code) == (0, 0)
    assert "1 recordings" in backed.out
    assert restored.rows == [{"new": 1, "same": 0, "stored": 0}]
    original = open_recording(tmp_path / "r" / "short.rec").digest()
    assert open_recording(tmp_path / "r2" / "short.rec").digest() == original
    assert dump(tmp_path / "b.db") == dump(tmp_path / "a.db")
    assert run("verify", tmp_path / "r2" / "short.rec", "--db", tmp_path / "b.db").code == 0


def test_restoring_over_what_is_there_changes_nothing(run, bench, tmp_path):
    run("backup", tmp_path / "b.zip", *bench)
    before = dump(tmp_path / "a.db")
    restored = run("restore", tmp_path / "b.zip", *bench, "--json")

    assert restored.rows == [{"new": 0, "same": 1, "stored": 0}]
    assert dump(tmp_path / "a.db") == before


def test_another_recording_of_that_name_stays_and_is_told(run, bench, tmp_path, short_job):
    run("backup", tmp_path / "b.zip", *bench)
    other = short_job.recording.replace(b'"north"', b'"south"', 1)
    (tmp_path / "r" / "short.rec").write_bytes(other)
    restored = run("restore", tmp_path / "b.zip", *bench)

    assert restored.code == 1
    assert "is another recording than the bundle's" in restored.err
    assert (tmp_path / "r" / "short.rec").read_bytes() == other


def test_a_recording_still_being_written_is_backed_up_to_its_last_whole_line(
    run, bench, tmp_path, short_job
):
    whole = short_job.recording
    (tmp_path / "r" / "short.rec").write_bytes(whole[: len(whole) // 2])
    run("backup", tmp_path / "b.zip", *bench)
    with zipfile.ZipFile(tmp_path / "b.zip") as packed:
        held = packed.read("recordings/short.rec")

    assert whole.startswith(held)
    assert held.endswith(b"\n")
    assert len(held) > len(whole) // 2 - 200


def test_the_set_up_comes_back_where_it_is_asked_for(run, bench, tmp_path):
    run("backup", tmp_path / "b.zip", *bench)
    run("bench", "set", "--name", "south")
    there = ("--folder", tmp_path / "r2", "--db", tmp_path / "b.db")
    run("restore", tmp_path / "b.zip", *there)
    kept = run("bench", "--json").rows[0]["bench"]
    run("restore", tmp_path / "b.zip", *there, "--set-up")

    assert (kept, run("bench", "--json").rows[0]["bench"]) == ("south", "north")


def test_a_damaged_backup_is_refused_before_anything_is_written(run, bench, tmp_path):
    run("backup", tmp_path / "b.zip", *bench)
    data = bytearray((tmp_path / "b.zip").read_bytes())
    data[len(data) // 3] ^= 0xFF
    (tmp_path / "b.zip").write_bytes(data)
    there = ("--folder", tmp_path / "r2", "--db", tmp_path / "b.db")
    restored = run("restore", tmp_path / "b.zip", *there)

    assert restored.code == 1
    assert "Nothing was taken from it" in restored.error
    assert not (tmp_path / "r2").exists()


def test_an_older_backup_stays_until_the_new_one_is_whole(run, bench, tmp_path):
    (tmp_path / "b.zip").write_bytes(b"the older one")
    failed = run("backup", tmp_path / "b.zip", "--folder", tmp_path / "none")

    assert failed.code == 1
    assert (tmp_path / "b.zip").read_bytes() == b"the older one"


def test_a_job_goes_to_another_bench_by_export_and_import(run, bench, tmp_path):
    ref = _ref(tmp_path / "a.db")
    exported = run("export", *bench, "--out", tmp_path / "j.zip", "--job", ref, "--json")
    there = ("--folder", tmp_path / "r2", "--db", tmp_path / "b.db")
    imported = run("import", tmp_path / "j.zip", *there, "--json")

    assert exported.rows == [{"out": str(tmp_path / "j.zip"), "recordings": 1}]
    assert imported.rows == [{"new": 1, "same": 0, "stored": 1}]
    assert _ref(tmp_path / "b.db") == ref


def test_a_job_that_nobody_knows_is_not_exported(run, bench, tmp_path):
    ran = run("export", *bench, "--out", tmp_path / "j.zip", "--job", "T-none")

    assert ran.code == 2
    assert "T-none" in ran.err


def _ref(db) -> str:
    with Store(db, must_exist=True) as store:
        return store.jobs()[0].ref
