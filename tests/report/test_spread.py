"""Scatter, sides and clamps against numbers worked by hand and by others."""

import statistics

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.report.spread import outliers, spread_info, wilson


@given(st.lists(st.floats(90.0, 110.0), min_size=2, max_size=11))
@settings(max_examples=30)
def test_mean_and_scatter_agree_with_the_standard_library(make, readings):
    found = [make.bare(i, f"L{i}", release=r) for i, r in enumerate(readings, 1)]
    mains = spread_info(make.view(found=found)).groups[0]
    losses = [110.0 - r for r in readings]
    assert mains.n == len(readings)
    assert mains.mean == pytest.approx(statistics.mean(losses))
    assert mains.sd == pytest.approx(statistics.stdev(losses), abs=1e-9)
    assert mains.median == pytest.approx(statistics.median(losses))


@given(st.integers(0, 60), st.integers(0, 60))
def test_a_wilson_interval_holds_the_share_and_stays_a_share(seen, more):
    n = seen + more
    low, high = wilson(seen, n)
    assert 0.0 <= low < high <= 1.0
    assert n == 0 or low - 1e-12 <= seen / n <= high + 1e-12


@pytest.mark.parametrize(
    ("seen", "n", "low", "high"),
    [
        # Wilson's score interval without continuity correction, 95 %; 81 of 263 from
        # Newcombe, Statistics in Medicine 17 (1998) 857, table I (from memory).
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_intervals_of_a_published_comparison(seen, n, low, high):
    assert wilson(seen, n) == pytest.approx((low, high), abs=5e-5)


def test_one_far_reading_is_named_and_does_not_hide_itself():
    tight = {f"L{i}": 5.0 + 0.1 * i for i in range(1, 9)}
    assert outliers({**tight, "R5": 12.0}) == ("R5",)
    assert outliers(tight) == ()


def test_fewer_than_five_strings_have_no_outlier():
    assert outliers({"L1": 5.0, "R1": 5.0, "L2": 5.0, "R2": 50.0}) == ()


def test_outliers_of_a_whole_job_are_the_odd_strings(badminton):
    mains, crosses, *_ = spread_info(badminton).groups
    assert "R5" in mains.outliers
    assert "X12" in crosses.outliers


def test_left_minus_right_comes_with_the_scatter_of_both(make):
    readings = {"L1": 105.0, "L2": 107.0, "R1": 100.0, "R2": 104.0}
    found = [make.bare(i, at, release=r) for i, (at, r) in enumerate(readings.items(), 1)]
    spread = spread_info(make.small(*found))
    # Means of loss 4 and 8, standard errors √(2/2) = 1 and √(8/2) = 2.
    assert spread.side_difference == pytest.approx(-4.0)
    assert spread.side_u == pytest.approx(5.0**0.5)


def test_one_string_a_side_has_a_difference_and_no_uncertainty(make):
    spread = spread_info(make.small(make.bare(1, "L1"), make.bare(2, "R1", release=105.0)))
    assert (spread.side_difference, spread.side_u) == (pytest.approx(-1.0), None)


def release(make, number, at, clamp, **more):
    return make.bare(number, at, held_position="L1", clamp_opened=clamp, **more)


def test_clamps_are_told_by_seen_of_looked_for(make):
    step = {"drop": 1.0, "seen": True, "at_least_lost": 5.0, "at_least_give_mm": 0.7}
    found = (
        make.bare(1),
        release(make, 2, "L2", "A", **step),
        release(make, 3, "R1", "A"),
        release(make, 4, "R2", "B"),
        release(make, 5, "X1", "B", drop=None),
        release(make, 6, "X2", "B", flags=("straightened",), drop=0.5, seen=True),
        release(make, 7, "X3", "B", void=True),
    )
    a, b = spread_info(make.small(*found)).clamps
    assert (a.clamp, a.seen, a.releases, a.most_give_mm, a.at) == ("A", 1, 2, 0.7, "L1")
    assert (b.clamp, b.seen, b.releases, b.most_give_mm) == ("B", 0, 1, None)


def test_what_was_redone_stands_beside_what_stands(make, badminton):
    (again,) = spread_info(badminton).redone
    assert (again.name, again.number, again.stood_number) == ("R5", 10, 11)
    assert again.release < again.stood_release


def test_a_void_pull_without_a_successor_says_so(make):
    (again,) = spread_info(make.small(make.bare(1, void=True))).redone
    assert (again.stood_number, again.stood_release) == (None, None)


def test_early_clampings_are_named(badminton):
    assert spread_info(badminton).early == ("X17", "X18")


def test_without_a_calibration_the_scatter_is_of_readings(make):
    spread = spread_info(make.uncalibrated())
    assert spread.of == "reading"
    assert spread.groups[0].mean > 800_000
