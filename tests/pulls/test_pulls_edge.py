"""The moment of a step that a converter has smeared."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.edge import CONVERTERS, Edge, locate_edge


def smeared(t: np.ndarray, *, begin_s: float, widths_s: tuple[float, ...]) -> np.ndarray:
    """A unit fall that is averaged over each width in turn, by brute force."""
    fine_s = 2e-4
    grid = np.arange(t[0] - 1.0, t[-1] + 0.1, fine_s)
    fallen = (grid >= begin_s).astype(float)
    for width_s in widths_s:
        size = max(1, round(width_s / fine_s))
        padded = np.concatenate([np.zeros(size - 1), fallen])
        fallen = np.convolve(padded, np.ones(size) / size, "valid")
    return -np.interp(t, grid, fallen)


@settings(max_examples=25)
@given(
    begin_s=st.floats(0.45, 0.55),
    converter=st.sampled_from(CONVERTERS),
    rate_hz=st.sampled_from([10.0, 80.0, 320.0]),
    depth=st.floats(0.5, 20.0),
)
def test_without_noise_the_beginning_is_found_within_a_third_of_a_sample(
    begin_s: float, converter: tuple[float, ...], rate_hz: float, depth: float
):
    period = 1.0 / rate_hz
    begin_s *= 80.0 * period  # as many samples on either side at every rate
    t = np.arange(0.0, 120.0 * period, period)
    widths_s = (0.016, *(n * period for n in converter))
    fall = depth * smeared(t, begin_s=begin_s, widths_s=widths_s)

    edge = locate_edge(
        t, fall, near_s=begin_s + 2 * period, period=period, depth=depth, converter=converter
    )

    assert abs(edge.begin_s - begin_s) < max(0.35 * period, 0.004)


@given(shift_s=st.floats(-100.0, 100.0))
@settings(max_examples=20)
def test_the_origin_of_time_does_not_matter(shift_s: float):
    t = np.arange(0.0, 1.0, 0.0125)
    fall = smeared(t, begin_s=0.5, widths_s=(0.016, 0.05))

    here = locate_edge(t, fall, near_s=0.52, period=0.0125, depth=1.0)
    there = locate_edge(t + shift_s, fall, near_s=0.52 + shift_s, period=0.0125, depth=1.0)

    assert there.begin_s - shift_s == pytest.approx(here.begin_s, abs=1e-3)


@pytest.mark.parametrize("converter", [(1.0,), (2.0,), (4.0,)])
def test_the_converter_is_told_by_the_form_of_the_fall(converter: tuple[float, ...]):
    t = np.arange(0.0, 3.0, 1 / 80)
    widths_s = (0.006, *(n / 80 for n in converter))
    fall = smeared(t, begin_s=1.5, widths_s=widths_s)

    edge = locate_edge(t, fall, near_s=1.52, period=1 / 80, depth=1.0)

    assert edge.converter == converter
    assert edge.late_s == pytest.approx(0.5 * sum(converter) / 80)
    assert edge.width_s == pytest.approx(sum(widths_s))


def test_a_converter_of_higher_order_is_told_from_a_plain_one():
    t = np.arange(0.0, 3.0, 1 / 80)
    fall = smeared(t, begin_s=1.5, widths_s=(0.006, *4 * (1 / 80,)))

    assert len(locate_edge(t, fall, near_s=1.52, period=1 / 80, depth=1.0).converter) >= 3


def test_where_samples_come_fast_the_fall_is_told_from_the_converter():
    period = 1 / 1280
    t = np.arange(0.0, 0.6, period)
    fall = smeared(t, begin_s=0.3, widths_s=(0.0225, 4 * period))

    edge = locate_edge(t, fall, near_s=0.31, period=period, depth=1.0, converter=(4.0,))

    assert abs(edge.begin_s - 0.3) < period
    assert edge.width_s == pytest.approx(0.0225 + 4 * period, abs=0.003)


def test_a_fall_ends_its_width_after_it_begins():
    assert Edge(begin_s=2.0, width_s=0.05).end_s == pytest.approx(2.05)
