"""`export`: every pull as a row of a file that other programs read."""

import csv

import pandas as pd
import pytest


def test_csv_has_a_row_a_pull_and_units_in_its_names(run, db, tmp_path):
    ran = run("export", "--db", db, "--out", tmp_path / "p.csv")

    with (tmp_path / "p.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert ran.code == 0
    assert [row["position"] for row in rows] == ["L1", "R1", "R1", "X1"]
    assert {"release_n", "target_n", "at_least_give_mm", "started_utc"} <= set(rows[0])


def test_parquet_holds_the_same(run, db, tmp_path):
    from tensionlog.store.export import read_csv

    run("export", "--db", db, "--out", tmp_path / "p.csv")
    (row,) = run("export", "--db", db, "--out", tmp_path / "p.parquet", "--json").rows

    table = pd.read_parquet(tmp_path / "p.parquet")
    pd.testing.assert_frame_equal(table, read_csv(tmp_path / "p.csv"))
    assert (row["pulls"], row["columns"]) == (4, list(table.columns))


@pytest.mark.parametrize("name", ["p.xls", "p", "p.csv.gz"])
def test_a_name_that_says_no_format_is_wrong_usage(run, db, tmp_path, name):
    ran = run("export", "--db", db, "--out", tmp_path / name)

    assert ran.code == 2
    assert "neither .csv nor .parquet" in ran.err
    assert not (tmp_path / name).exists()


def test_a_place_that_takes_no_file_is_told(run, db, tmp_path):
    ran = run("export", "--db", db, "--out", tmp_path / "no" / "p.csv")

    assert ran.code == 2
    assert "cannot write" in ran.err
