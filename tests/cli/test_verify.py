"""`verify`: exit code 0 only where nothing was lost silently."""

import sqlite3
from functools import partial

from tensionlog.twin import faults


def test_a_recording_that_keeps_the_law_is_exit_code_zero(run, short_path, short_job):
    ran = run("verify", short_path, "--json")

    (row,) = ran.rows
    assert ran.code == 0
    assert row["holds"] is True
    assert row["counted"] == row["samples"] + row["missing"] == short_job.truth["samples"]
    assert (row["undeclared"], row["false"], row["twice"]) == (0, 0, 0)
    assert row["database_agrees"] is None


def test_losses_that_are_declared_keep_the_law(run, short_job, tmp_path):
    path = tmp_path / "dirty.rec"
    spoilt = faults.spoil(short_job, seed=2, kinds=[partial(faults.lose_run, samples=50)])
    path.write_bytes(spoilt.recording)

    ran = run("verify", path)

    assert ran.code == 0
    assert "+ 50 missing" in ran.out
    assert ran.out.startswith("dirty.rec: holds, ")


def test_a_database_that_agrees_is_said_to(run, short_path, db):
    ran = run("verify", short_path, "--db", db)

    assert ran.code == 0
    assert "the database agrees" in ran.out


def test_a_database_that_differs_is_exit_code_one(run, short_path, db):
    connection = sqlite3.connect(db)
    connection.execute("UPDATE pulls SET release_n = release_n + 1 WHERE number = 2")
    connection.commit()
    connection.close()

    ran = run("verify", short_path, "--db", db)

    assert ran.code == 1
    assert ran.out.startswith("short.rec: NOT PROVEN, its pulls in the database are not")


def test_a_sitting_that_the_database_lacks_is_exit_code_one(run, short_job, tmp_path, db):
    other = tmp_path / "other.rec"
    other.write_bytes(short_job.recording.replace(b'"bench": "north"', b'"bench": "south"'))

    ran = run("verify", other, "--db", db, "--json")

    assert ran.code == 1
    assert ran.rows[0]["database_agrees"] is False


def test_bad_files_are_one_line_and_the_others_are_checked(run, short_path, tmp_path):
    (tmp_path / "bad.rec").write_bytes(b"")

    ran = run("verify", tmp_path / "bad.rec", short_path)

    assert ran.code == 1
    assert "bad.rec is empty" in ran.error
    assert ran.out.startswith("short.rec: holds")


def test_a_database_that_is_not_there_is_not_made(run, short_path, tmp_path):
    ran = run("verify", short_path, "--db", tmp_path / "none.db")

    assert ran.code == 1
    assert "there is no database at" in ran.error
    assert not (tmp_path / "none.db").exists()


def test_a_damaged_database_is_told(run, short_path, db):
    content = bytearray(db.read_bytes())
    content[9000:13000] = bytes(4000)
    db.write_bytes(content)

    ran = run("verify", short_path, "--db", db)

    assert ran.code == 1
    assert "Traceback" not in ran.err


def test_where_nothing_is_numbered_that_is_said(run, tmp_path):
    path = tmp_path / "plain.rec"
    path.write_bytes(
        b'# tensionlog-recording 1\n# {"bench": "b", "purpose": "free", "started":'
        b' "2026-03-02T09:00:00Z", "dialect": "plain", "pattern": "(?P<value>[0-9.]+)",'
        b' "unit": "N", "rate_hz": 10}\n@ 2026-03-02T09:00:01.000000Z\n1.0\n1.1\n'
    )

    ran = run("verify", path, "--json")

    (row,) = ran.rows
    assert ran.code == 0
    assert (row["counted"], row["missing"], row["undeclared"]) == (None, None, None)
    assert "cannot be known" in row["unproven"]
