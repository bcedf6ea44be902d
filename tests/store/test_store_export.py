"""The table of pulls, and the files that other programs read."""

import csv
import io

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from tensionlog.errors import UsageError
from tensionlog.store import Store
from tensionlog.store.export import csv_text, read_csv, write_csv, write_parquet
from tensionlog.store.table import COLUMNS, TEXT


@pytest.fixture(scope="module")
def table(sittings):
    with Store.memory() as store:
        for sitting in sittings:
            sitting.play(store)
        return store.pulls_table()


def owned_by(table: pd.DataFrame, owner: str) -> pd.DataFrame:
    return table.assign(owner=pd.array([owner] * len(table), dtype=TEXT))


# -- the table -----------------------------------------------------------------------------


def test_every_pull_is_one_row_in_order(table):
    assert list(zip(table["bench"], table["number"], strict=True)) == [
        ("north", 1),
        ("north", 2),
        ("north", 3),
        ("north", 4),
        ("south", 1),
        ("south", 2),
    ]


def test_a_row_carries_its_job_and_its_sitting(table):
    row = table.iloc[0]

    assert (row["recording"], row["ref"], row["owner"], row["string_crosses"]) == (
        "a.rec",
        "J-17",
        "Nobody",
        "house nylon",
    )
    assert row["flags"] == "worked-twice early-clamp"


def test_the_loss_is_the_one_of_the_pull(table, a_found):
    pull = a_found(1).pull

    assert (table["loss_n"][0], table["loss_pct"][0]) == (pull.loss, pull.loss_pct)


def test_counts_and_newtons_never_stand_in_one_column(table):
    in_counts = table["bench"] == "south"

    assert table["release_n"].isna().tolist() == in_counts.tolist()
    assert table["release_counts"].notna().tolist() == in_counts.tolist()


def test_a_pull_outside_any_job_has_no_ref(table):
    assert table["ref"].isna().tolist() == [False, False, False, True, False, False]


def test_types_hold_even_where_there_is_nothing(table):
    with Store.memory() as store:
        empty = store.pulls_table()

    assert len(empty) == 0
    assert empty.dtypes.tolist() == table.dtypes.tolist()
    assert list(empty.columns) == list(COLUMNS)


# -- the files -----------------------------------------------------------------------------


def test_csv_gives_the_same_table(table, tmp_path):
    write_csv(table, tmp_path / "pulls.csv")

    assert_frame_equal(read_csv(tmp_path / "pulls.csv"), table, check_exact=True)


def test_parquet_gives_the_same_table(table, tmp_path):
    write_parquet(table, tmp_path / "pulls.parquet")

    assert_frame_equal(pd.read_parquet(tmp_path / "pulls.parquet"), table, check_exact=True)


def test_an_empty_table_comes_back_too(table, tmp_path):
    write_csv(table.iloc[:0], tmp_path / "pulls.csv")
    write_parquet(table.iloc[:0], tmp_path / "pulls.parquet")

    assert_frame_equal(read_csv(tmp_path / "pulls.csv"), table.iloc[:0])
    assert_frame_equal(pd.read_parquet(tmp_path / "pulls.parquet"), table.iloc[:0])


@settings(deadline=None, max_examples=25)
@given(
    owner=st.text(
        st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1
    ),
    force=st.floats(allow_nan=False),
)
def test_any_text_and_any_number_come_back(table, tmp_path_factory, owner, force):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    odd = owned_by(table.iloc[:2], owner).assign(release_n=force)
    path.write_text(csv_text(odd), encoding="utf-8", newline="")

    assert_frame_equal(read_csv(path), odd, check_exact=True)


@pytest.mark.parametrize(
    "owner", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "＝1", "'quoted", "NA"]
)
def test_no_text_is_run_as_a_formula_and_none_is_lost(table, tmp_path, owner):
    path = tmp_path / "pulls.csv"
    write_csv(owned_by(table, owner), path)
    with path.open(encoding="utf-8", newline="") as file:
        cells = [row["owner"] for row in csv.DictReader(file)]

    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "＝")) for cell in cells)
    assert set(read_csv(path)["owner"]) == {owner}


def test_a_negative_number_is_still_a_number(table):
    rows = csv.DictReader(io.StringIO(csv_text(table.assign(idle_n=-0.25))))

    assert {row["idle_n"] for row in rows} == {"-0.25"}


def test_lines_end_as_rfc_4180_wants(table):
    """RFC 4180, section 2: CRLF, the same number of fields in every line, a quote doubled."""
    text = csv_text(owned_by(table, 'the "best", they say'))
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))

    assert text.count("\r\n") == text.count("\n") == len(table) + 1
    assert '"the ""best"", they say"' in text
    assert {len(row) for row in rows} == {len(COLUMNS)}


def test_the_head_line_names_units(table):
    head = csv_text(table).partition("\r\n")[0].split(",")

    assert {"release_n", "release_counts", "start_s", "loss_pct", "at_least_give_mm"} <= set(
        head
    )


@pytest.mark.parametrize("write", [write_csv, write_parquet])
def test_a_place_that_cannot_be_written_is_named(table, tmp_path, write):
    with pytest.raises(UsageError, match=r"cannot write \S*no/pulls: .*\. Choose another"):
        write(table, tmp_path / "no" / "pulls")
