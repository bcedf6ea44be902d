"""Medians and quantiles: to the last bit those of numpy."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tensionlog.pulls.order import (
    median,
    median_of_four,
    median_of_nine,
    median_of_three,
    quantile,
)

values = st.one_of(st.floats(-1e6, 1e6), st.integers(-3, 3).map(float))
readings = arrays(np.float64, st.integers(1, 40), elements=values)


@given(readings, st.floats(0.0, 1.0))
def test_as_numpy_has_them(y, share):
    assert median(y) == np.median(y)
    assert quantile(y, share) == np.quantile(y, share)
    assert quantile(y, 0.8) == np.quantile(y, 0.8)


@settings(max_examples=40)
@given(arrays(np.float64, st.integers(9, 40), elements=values))
def test_running_ones_too(y):
    def windows(width: int):
        return np.lib.stride_tricks.sliding_window_view(y, width)

    assert median_of_three(y).tolist() == np.median(windows(3), axis=1).tolist()
    assert median_of_nine(y).tolist() == np.median(windows(9), axis=1).tolist()
    middle = np.sort(windows(4), axis=1)[:, 1:3]
    assert median_of_four(y).tolist() == middle.mean(axis=1).tolist()


def test_the_exchanges_sort_whatever_nine_there_are():
    """What sorts all noughts and ones sorts everything (Knuth, TAOCP 3, 5.3.4, theorem Z)."""
    for bits in product((0.0, 1.0), repeat=9):
        assert median_of_nine(np.array(bits)) == pytest.approx(np.median(bits))
