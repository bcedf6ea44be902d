"""What is kept of a trace: small, exact, and long enough to draw."""

from dataclasses import replace

import numpy as np

from tensionlog.pulls.measured import small_trace


def test_a_trace_is_kept_from_a_second_before_the_rise_to_its_end(sim):
    shape = sim.shape(sim.pulled(1))
    small = small_trace(shape)

    assert np.isclose(small.t_us[0] / 1e6, shape.t[shape.start] - 1.0, atol=0.013)
    assert small.t_us[-1] == round(shape.t[-1] * 1e6)
    assert len(small.t_us) == len(small.counts)


def test_counts_are_kept_exactly_in_four_bytes(sim):
    shape = sim.shape(sim.pulled(1))
    small = small_trace(shape)

    assert small.counts.dtype == np.int32
    assert np.array_equal(small.counts, shape.counts[-len(small.counts) :])


def test_readings_that_are_not_whole_are_kept_as_they_are(sim):
    shape = sim.shape(sim.pulled(1))
    small = small_trace(replace(shape, counts=shape.counts + 0.25))

    assert small.counts.dtype == np.float64
    assert np.array_equal(small.counts, shape.counts[-len(small.counts) :] + 0.25)


def test_a_trace_that_begins_with_the_rise_is_kept_whole(sim):
    shape = replace(sim.shape(sim.pulled(1)), start=3)

    assert len(small_trace(shape).t_us) == len(shape.t)
