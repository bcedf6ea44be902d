"""Every noun that goes into the database comes out equal."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.recording import Calibration
from tensionlog.store.columns import (
    calibration_id,
    checked,
    pull_row,
    recording_id,
    utc_of,
    utc_text,
)

_UTC = st.datetimes(timezones=st.just(UTC))

_calm = settings(deadline=None)  # a shared computer may stall in any example


@_calm
@given(_UTC)
def test_a_time_comes_back(moment):
    assert utc_of(utc_text(moment)) == moment


@_calm
@given(st.lists(_UTC, max_size=5))
def test_times_as_text_sort_as_times(moments):
    assert [utc_of(t) for t in sorted(map(utc_text, moments))] == sorted(moments)


def test_a_time_of_another_zone_is_the_same_time():
    local = datetime(2026, 3, 2, 11, tzinfo=timezone(timedelta(hours=2)))

    assert utc_text(local) == "2026-03-02T09:00:00.000000Z"


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="must say its zone"):
        utc_text(datetime(2026, 3, 2))  # noqa: DTZ001 - that is the mistake


def test_the_number_of_a_sitting_never_changes():
    """It stands in other people's files: worked out once, here for good.

    First 53 bits of the SHA-256 of bench, line feed and time.
    """
    started = datetime(2026, 3, 2, 9, tzinfo=UTC)

    assert recording_id("north", started) == 6331500666015023


@_calm
@given(st.text(), _UTC)
def test_numbers_survive_json_and_sqlite(bench, moment):
    assert 0 <= recording_id(bench, moment) < 2**53


@pytest.mark.parametrize(
    "other",
    [
        Calibration((1.0, 2.5), "spring", "2026-02-27"),
        Calibration((1.0, 2.0, 0.0), "spring", "2026-02-27"),
        Calibration((1.0, 2.0), "autumn", "2026-02-27"),
        Calibration((1.0, 2.0), "spring", None),
    ],
)
def test_calibrations_that_differ_have_different_numbers(other):
    assert calibration_id(other) != calibration_id(
        Calibration((1.0, 2.0), "spring", "2026-02-27")
    )


def test_whole_coefficients_are_the_same_calibration():
    assert calibration_id(Calibration((1, 2))) == calibration_id(Calibration((1.0, 2.0)))


def test_counts_never_stand_in_a_column_of_newtons(a_found):
    row = pull_row(a_found(1, unit="counts", target=None, at_least_lost=None))

    assert [
        name for name, value in row.items() if name.endswith("_n") and value is not None
    ] == []
    assert row["release_counts"] == 107.0


def test_newtons_never_stand_in_a_column_of_counts(a_found):
    row = pull_row(a_found(1))

    assert {value for name, value in row.items() if name.endswith("_counts")} == {None}
    assert row["release_n"] == 107.0


def test_an_unknown_unit_is_refused(a_found):
    with pytest.raises(ValueError, match="'N' or 'counts', not 'kg'"):
        pull_row(replace(a_found(1), pull=replace(a_found(1).pull, unit="kg")))


def test_nan_is_refused_where_sqlite_would_keep_it_as_not_known():
    with pytest.raises(ValueError, match="is None, not drop_n=nan"):
        checked({"drop_n": float("nan")})


@pytest.mark.parametrize("coefficient", [float("nan"), float("inf")])
def test_a_calibration_that_makes_no_force_is_refused(coefficient):
    with pytest.raises(ValueError, match="not JSON compliant"):
        calibration_id(Calibration((0.0, coefficient)))
