"""Repeatability and reversibility of one load."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.result import Load
from tensionlog.check.spread import directions, repeatability_pct, reversibility_pct

READINGS = st.lists(st.floats(90, 110), min_size=2, max_size=6)


@given(READINGS)
def test_the_order_of_repeats_does_not_matter(readings):
    n = len(readings)

    assert repeatability_pct([100] * n, ["up"] * n, readings) == pytest.approx(
        repeatability_pct([100] * n, ["up"] * n, readings[::-1])
    )


def test_repeatability_of_three_readings():
    """(100.2 - 99.9) / 100.0667 in per cent."""
    assert repeatability_pct([100] * 3, ["up"] * 3, [100.1, 99.9, 100.2]) == pytest.approx(
        0.2998, abs=1e-4
    )


def test_reversibility_of_one_load():
    """(50.1 - 50.0) / 50.0 in per cent, whichever side came first."""
    assert reversibility_pct([50, 100, 50], ["up", "up", "down"], [50.0, 100, 50.1]) == (
        pytest.approx(0.2)
    )


def test_what_was_not_repeated_is_not_known():
    assert repeatability_pct([50, 100], ["up", "up"], [50.0, 100.0]) is None
    assert reversibility_pct([50, 100], ["up", "up"], [50.0, 100.0]) is None


def test_directions_go_by_the_load_before():
    loads = [Load(float(i), mass_kg=m) for i, m in enumerate((0, 5, 10, 5, 0, 5))]

    assert directions(loads, [0, 49, 98, 49, 0, 49]) == [
        "up",
        "up",
        "up",
        "down",
        "down",
        "up",
    ]
