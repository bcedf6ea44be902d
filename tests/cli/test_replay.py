"""`replay`: the pinned answers, the order of times, every kind of bad file."""

import gzip
import json
import sqlite3

import pytest

PINNED = {
    "recording", "purpose", "samples", "seconds", "bad_lines", "missing", "restarts",
    "faults", "pulls", "check", "hold", "head", "turn", "stiffness",
}  # fmt: skip
PINNED_PULL = {
    "kind", "position", "held_position", "void", "target_N", "start_s", "top_s",
    "release_s", "let_off_s", "peak_N", "top_N", "at_3s_N", "expected_N", "release_N",
    "drop_N", "drop_u_N", "seen", "loss_N", "loss_pct", "clamp_opened", "clamp_shut",
    "at_least_give_mm", "held_N", "idle_N", "flags",
}  # fmt: skip


def without_calibration(recording: bytes) -> bytes:
    lines = recording.split(b"\n")
    header = json.loads(lines[1][2:])
    del header["calibration"]
    return b"\n".join([lines[0], b"# " + json.dumps(header).encode(), *lines[2:]])


def test_one_json_object_a_recording_holds_all_that_is_pinned(run, short_path):
    ran = run("replay", short_path, "--json")

    (row,) = ran.rows
    assert ran.code == 0
    assert set(row) >= PINNED
    assert all(set(pull) >= PINNED_PULL for pull in row["pulls"])
    assert [p["position"] for p in row["pulls"]] == ["L1", "R1", "R1", "X1"]
    assert [p["void"] for p in row["pulls"]] == [False, True, False, False]
    assert row["recording"] == "short.rec"


def test_a_database_changes_no_answer(run, short_path, tmp_path):
    plain = run("replay", short_path, "--json")

    stored = run("replay", short_path, "--json", "--db", tmp_path / "a.db")

    assert stored.out == plain.out
    assert (tmp_path / "a.db").exists()


def test_a_compressed_recording_is_answered_alike(run, short_path, tmp_path):
    packed = tmp_path / "short.rec.gz"
    packed.write_bytes(gzip.compress(short_path.read_bytes()))

    (a,), (b,) = run("replay", short_path, "--json").rows, run("replay", packed, "--json").rows

    assert {**a, "recording": ""} == {**b, "recording": ""}


def test_without_a_calibration_readings_are_counts_and_that_is_a_warning(
    run, short_job, tmp_path
):
    path = tmp_path / "raw.rec"
    path.write_bytes(without_calibration(short_job.recording))

    ran = run("replay", path, "--json")

    (row,) = ran.rows
    assert ran.code == 0
    assert ran.err.startswith("Warning: raw.rec: no calibration")
    assert len(row["pulls"]) == 4
    for pull in row["pulls"]:
        assert all(v is None for k, v in pull.items() if k.endswith("_N") and k != "target_N")
        assert pull["release_counts"] > 100


def test_people_read_lines(run, short_path):
    ran = run("replay", short_path)

    assert ran.code == 0
    assert ran.out.splitlines()[0].startswith("short.rec: job, ")
    assert len(ran.out.splitlines()) == 5


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.rec", b"", "is empty: nothing was recorded in it"),
        ("picture.rec", b"\x89PNG\r\n\x1a\n" + bytes(40), "a PNG picture"),
        ("text.rec", b"Dear diary,\n", "is not a recording"),
        ("page.rec", b"<html></html>", "a web page"),
        ("junk.rec.gz", gzip.compress(bytes(range(256)) * 9), "is not a recording"),
        ("head.rec", b'# tensionlog-recording 1\n# {"bench"', "header of head.rec is not JSON"),
        ("new.rec", b"# tensionlog-recording 2\n# {}\n", "Upgrade tensionlog"),
        ("unit.rec", b'# tensionlog-recording 1\n# {"bench": "b", "purpose": "free",'
         b' "started": "2026-03-02T09:00:00Z", "dialect": "plain",'
         b' "pattern": "(?P<value>.*)", "unit": "stone"}\n1\n', "stone"),
        ("pattern.rec", b'# tensionlog-recording 1\n# {"bench": "b", "purpose": "free",'
         b' "started": "2026-03-02T09:00:00Z", "dialect": "plain", "pattern": "("}\n1\n',
         "is not a regular expression"),
        ("zero.rec", b'# tensionlog-recording 1\n# {"bench": "b", "purpose": "job",'
         b' "started": "2026-03-02T09:00:00Z"}\n! {"at": "2026-03-02T09:00:01Z", "note":'
         b' "job-start", "job": {"mains": 2, "crosses": 0, "target_mains_N": 0}}\n',
         "target_mains_N = 0. Give a force above 0"),
    ],
)  # fmt: skip
def test_a_bad_file_is_one_line_and_exit_code_one(run, tmp_path, name, content, said):
    (tmp_path / name).write_bytes(content)

    ran = run("replay", tmp_path / name, "--json")

    assert (ran.code, ran.out) == (1, "")
    assert said in ran.error


def test_a_folder_and_a_missing_file_are_one_line_each(run, tmp_path):
    assert "is a folder" in run("replay", tmp_path).error
    assert "there is no file" in run("replay", tmp_path / "none.rec").error


def test_of_several_files_the_good_ones_are_answered(run, short_path, tmp_path):
    (tmp_path / "bad.rec").write_bytes(b"")

    ran = run("replay", tmp_path / "bad.rec", short_path, "--json")

    assert ran.code == 1
    assert [row["recording"] for row in ran.rows] == ["short.rec"]
    assert "bad.rec is empty" in ran.error


def test_a_torn_last_line_is_normal(run, short_job, tmp_path):
    path = tmp_path / "torn.rec"
    path.write_bytes(short_job.recording[:-11])

    ran = run("replay", path, "--json")

    assert (ran.code, ran.err) == (0, "")
    assert ran.rows[0]["bad_lines"] == 0


def test_a_compressed_file_that_is_cut_short_is_read_as_far_as_it_goes(
    run, short_job, tmp_path
):
    path = tmp_path / "cut.rec.gz"
    path.write_bytes(gzip.compress(short_job.recording)[:-5000])

    ran = run("replay", path, "--json")

    assert ran.code == 0
    assert ran.err.startswith("Warning: cut.rec.gz: ")
    assert ran.rows[0]["samples"] > 100


def test_a_database_of_another_kind_is_refused_untouched(run, short_path, tmp_path):
    text, other = tmp_path / "text.db", tmp_path / "other.db"
    text.write_text("my shopping list")
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE birds (name)")
    connection.commit()
    connection.close()
    before = other.read_bytes()

    assert "is not a database" in run("replay", short_path, "--db", text).error
    assert "another program's database" in run("replay", short_path, "--db", other).error
    assert text.read_text() == "my shopping list"
    assert other.read_bytes() == before


def test_a_newer_database_is_refused_untouched(run, short_path, db):
    connection = sqlite3.connect(db)
    connection.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
        " VALUES ('tensionlog', 'm999_later', '2027-01-01')"
    )
    connection.commit()
    connection.close()
    before = db.read_bytes()

    ran = run("replay", short_path, "--db", db)

    assert ran.code == 1
    assert "has step m999_later" in ran.error
    assert db.read_bytes() == before
