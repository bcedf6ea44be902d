"""`report`: one page, a summary, the same numbers as JSON."""

import pytest


def test_the_page_is_written_and_the_summary_printed(run, db, tmp_path):
    ran = run("report", "--db", db, "--out", tmp_path / "job.html")

    page = (tmp_path / "job.html").read_text(encoding="utf-8")
    assert ran.code == 0
    assert page.startswith("<!doctype html>")
    assert ran.out.startswith("Job T-")
    assert ran.out.endswith(f"Report: {tmp_path / 'job.html'}\n")


def test_a_folder_gets_the_page_under_the_jobs_own_name(run, db, tmp_path):
    (row,) = run("report", "--db", db, "--json").rows

    run("report", "--db", db, "--out", tmp_path)

    assert (tmp_path / f"{row['ref']}.html").exists()


def test_json_prints_the_numbers_and_writes_no_page(run, db, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    ran = run("report", "--db", db, "--json")

    (row,) = ran.rows
    assert [s["position"] for s in row["strings"]] == ["L1", "R1", "R1", "X1"]
    assert list(tmp_path.glob("*.html")) == []


@pytest.mark.parametrize("unit", ["lbf", "kgf"])
def test_the_unit_is_the_readers_choice(run, db, tmp_path, unit):
    ran = run("report", "--db", db, "--unit", unit, "--out", tmp_path / "job.html")

    assert f" {unit}" in (tmp_path / "job.html").read_text(encoding="utf-8")
    assert ran.code == 0


def test_an_unknown_unit_is_wrong_usage(run, db):
    assert run("report", "--db", db, "--unit", "stone").code == 2


def test_a_job_is_found_by_its_reference_and_its_bed(run, db):
    (row,) = run("report", "--db", db, "--json").rows

    assert run("report", "--db", db, "--job", row["ref"], "--bed", 1, "--json").rows == [row]


def test_a_job_that_is_not_there_is_told_with_those_that_are(run, db):
    (row,) = run("report", "--db", db, "--json").rows

    ran = run("report", "--db", db, "--job", "T-0")
    other_bed = run("report", "--db", db, "--job", row["ref"], "--bed", 2)

    assert ran.code == other_bed.code == 1
    assert ran.error == f"there is no job T-0. The latest are {row['ref']}."
    assert "bed 2" in other_bed.error


def test_a_database_without_jobs_says_how_to_get_one(run, tmp_path):
    from tensionlog.store import Store

    Store(tmp_path / "new.db").close()

    ran = run("report", "--db", tmp_path / "new.db")

    assert ran.code == 1
    assert "has no job" in ran.error


def test_a_database_that_is_not_there_is_not_made(run, tmp_path):
    ran = run("report", "--db", tmp_path / "none.db")

    assert ran.code == 1
    assert "there is no database" in ran.error
    assert not (tmp_path / "none.db").exists()


def test_a_place_that_takes_no_file_is_told(run, db, tmp_path):
    (tmp_path / "file").write_text("")

    ran = run("report", "--db", db, "--out", tmp_path / "file" / "job.html")

    assert ran.code == 2
    assert "cannot write" in ran.err.splitlines()[-1]
