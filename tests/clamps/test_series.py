"""Series: baselines, marks, changes of level, and when a limit is due."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.series import (
    BASELINE,
    DAY_S,
    Series,
    changes_of,
    chart,
    partition,
    spread_of,
)

NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
    1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
    940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
    821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
    1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050,
    918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip
"""Yearly flow of the Nile at Aswan, 1871–1970, 10⁸ m³ (Cobb 1978; data from memory)."""


def series(values, *, marks=(), name="give-A"):
    times = tuple(DAY_S * day for day in range(len(values)))
    return Series(
        name=name,
        times_s=times,
        values=tuple(map(float, values)),
        marks_s=tuple(DAY_S * (mark - 0.5) for mark in marks),
    )


def test_the_nile_changes_once_between_1898_and_1899():
    """Cobb (1978), Biometrika 65: one change of level, at 1898 (from memory)."""
    assert partition(NILE, spread=spread_of(NILE)) == (0, 28, 100)


def test_a_change_carries_its_size_and_time():
    rng = np.random.default_rng(2)
    values = rng.normal(1.0, 0.1, 30)
    values[18:] += 0.6
    (change,) = changes_of(series(values))
    assert change.index == 18
    assert change.at_s == 18 * DAY_S
    assert abs(change.size - 0.6) < 3.0 * change.u_size


@given(st.integers(0, 2**32 - 1))
def test_the_best_partition_costs_no_more_than_any_single_cut(seed):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=25) + 2.0 * (np.arange(25) >= rng.integers(3, 22))

    def cost(edges):
        parts = [x[a:b] for a, b in pairwise(edges)]
        return sum(((p - p.mean()) ** 2).sum() for p in parts) + 3.0 * np.log(25) * (
            len(parts) - 1
        )

    found = cost(partition(x, spread=1.0))
    assert all(found <= cost((0, cut, 25)) + 1e-9 for cut in range(2, 24))
    assert found <= cost((0, 25)) + 1e-9


def test_level_readings_have_no_change():
    rng = np.random.default_rng(2)
    quiet = [not changes_of(series(rng.normal(size=40))) for _ in range(100)]
    assert sum(quiet) >= 90


def test_few_or_equal_values_have_no_change():
    assert changes_of(series([1.0, 2.0, 3.0])) == ()
    assert changes_of(series([1.0] * 10)) == ()
    assert partition([1.0, 2.0], spread=0.0) == (0, 2)


def test_only_what_came_after_the_last_mark_is_the_baseline():
    view = chart(series([2.0, 2.1, 1.9, 2.0, 0.9, 1.0, 1.1], marks=(4,)))
    assert view.level == 1.0
    assert view.needed == BASELINE - 3
    assert series([1.0, 2.0], marks=(1,)).restarts == (1,)


def test_too_little_history_says_how_many_more():
    view = chart(series([1.0]))
    assert view.needed == BASELINE - 1
    assert view.trend is None
    assert view.spread is None
    assert chart(series([])).level is None


def test_when_the_limit_is_due():
    wearing = [0.8 + 0.03 * day for day in range(20)]
    view = chart(series(wearing), limit=1.8)
    assert view.until_limit.t == pytest.approx((1.8 - 0.8) / 0.03, rel=1e-6)
    assert view.trend.slope == pytest.approx(0.03)


def test_nothing_later_than_asked_is_known():
    whole = series(range(10), marks=(3, 8))
    part = whole.until(4.0 * DAY_S)
    assert part.values == (0.0, 1.0, 2.0, 3.0, 4.0)
    assert part.marks_s == (2.5 * DAY_S,)
    assert part.since_mark().values == (3.0, 4.0)


def test_lengths_must_match():
    with pytest.raises(ValueError, match="'give-A' has 1 times and 2 values"):
        Series(name="give-A", times_s=(1.0,), values=(1.0, 2.0))


def test_ten_years_of_mornings_are_quick():
    rng = np.random.default_rng(3)
    assert len(chart(series(rng.normal(size=3650))).changes) < 20
