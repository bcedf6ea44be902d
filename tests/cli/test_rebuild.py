"""`rebuild`: the database again; what became of the old one is said."""

import sqlite3


def test_a_database_is_made_from_a_folder(run, short_path, tmp_path):
    ran = run("rebuild", "--db", tmp_path / "new.db", tmp_path)

    assert ran.code == 0
    assert ran.out.splitlines() == [
        f"{tmp_path / 'new.db'}: 1 sittings, 4 pulls.",
        "There was no old one.",
    ]


def test_an_identical_database_stays(run, short_path, db, tmp_path):
    ran = run("rebuild", "--db", db, tmp_path, "--json")

    (row,) = ran.rows
    assert (ran.code, row["was_identical"], row["old"]) == (0, True, None)


def test_a_different_one_is_kept_beside(run, short_path, db, tmp_path):
    connection = sqlite3.connect(db)
    connection.execute("UPDATE pulls SET position = 'L9'")
    connection.commit()
    connection.close()

    ran = run("rebuild", "--db", db, tmp_path)

    assert ran.code == 0
    assert "The old one is kept as" in ran.out
    assert run("verify", short_path, "--db", db).code == 0


def test_a_bad_recording_is_told_and_exit_code_one(run, short_path, tmp_path):
    (tmp_path / "bad.rec").write_bytes(b"nothing of the kind")

    ran = run("rebuild", "--db", tmp_path / "new.db", tmp_path)

    assert ran.code == 1
    assert "bad.rec is not a recording" in ran.error
    assert "1 sittings" in ran.out


def test_an_empty_folder_is_told(run, tmp_path):
    (tmp_path / "empty").mkdir()

    ran = run("rebuild", "--db", tmp_path / "new.db", tmp_path / "empty")

    assert ran.code == 1
    assert "no recording (*.rec, *.rec.gz) lies in" in ran.error
