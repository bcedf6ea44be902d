"""Landmarks of a stretch: where it starts, tops out and is let off, whatever hands do."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.finder import Stretch
from tensionlog.pulls.shape import first_at, joined, shape_of, top_index

SAMPLE_S = 1 / 80


def times(shape) -> tuple[float, float, float]:
    return float(shape.t[shape.start]), float(shape.t[shape.top]), float(shape.t[shape.let_off])


# ------------------------------------------------------------------------------- laws


@given(
    seed=st.integers(0, 1000),
    level_n=st.floats(90.0, 290.0),
    drop_n=st.floats(0.0, 25.0),
    ramp_s=st.floats(0.5, 2.0),
    rate_hz=st.sampled_from([20.0, 80.0, 320.0]),
)
@settings(max_examples=25)
def test_the_moments_of_a_pull_are_found(sim, seed, level_n, drop_n, ramp_s, rate_hz):
    pull = sim.pulled(
        seed,
        level_n=level_n,
        drop_n=drop_n,
        ramp_s=ramp_s,
        rate_hz=rate_hz,
        push_n=0.4,
    )
    start_s, top_s, let_off_s = times(sim.shape(pull))

    assert start_s == pytest.approx(pull.start_s, abs=5.0 / rate_hz + 0.02)
    assert let_off_s == pytest.approx(pull.let_off_s, abs=4.0 / rate_hz + 0.02)
    assert pull.start_s < top_s < pull.release_s


@given(seed=st.integers(0, 1000), zero_n=st.floats(-100.0, 100.0))
@settings(max_examples=15)
def test_forces_are_above_the_empty_reading_wherever_that_lies(sim, seed, zero_n):
    here = sim.shape(sim.pulled(seed, idle_n=0.0))
    there = sim.shape(sim.pulled(seed, idle_n=zero_n))

    assert there.level == pytest.approx(here.level, abs=1e-3)
    assert there.idle - here.idle == pytest.approx(zero_n, abs=1e-3)
    assert (there.start, there.top, there.let_off) == (here.start, here.top, here.let_off)


@given(seed=st.integers(0, 1000))
@settings(max_examples=15)
def test_the_empty_readings_error_is_what_its_uncertainty_says(sim, seed):
    shape = sim.shape(sim.pulled(seed, idle_n=3.0, noise_n=0.05))

    assert abs(shape.idle - 3.0) < 5.0 * shape.u_idle
    assert shape.u_idle < 0.01


# ------------------------------------------------------------------------------- cases


def test_slack_that_stays_is_not_the_rise(sim):
    """A tenth of the tension is taken up by hand half a second before the head pulls."""

    def slack(t, force):
        return np.where((t > -1.6) & (t < -0.95), np.maximum(force, 14.0), force)

    pull = sim.pulled(1, changed=slack)
    start_s, _, _ = times(sim.shape(pull))

    assert start_s == pytest.approx(pull.start_s + 0.056, abs=0.06)


def test_a_pluck_in_the_idle_gap_does_not_move_the_zero(sim):
    def pluck(t, force):
        ring = 6.0 * np.exp(-(t + 3.0) / 0.05) * np.sin(60.0 * t)
        return force + np.where(t > -3.0, ring, 0.0)

    assert sim.shape(sim.pulled(1, changed=pluck)).idle == pytest.approx(3.0, abs=0.02)


def test_spikes_are_neither_peak_nor_start(sim):
    pull = sim.pulled(1)
    spiked = pull.force_n.copy()
    spiked[[40, 250, 450, 560]] += (300.0, 300.0, 400.0, -200.0)

    clean, odd = sim.shape(pull), sim.shape(replace(pull, force_n=spiked))

    assert times(odd) == times(clean)
    assert odd.peak == pytest.approx(clean.peak, abs=0.3)


def test_two_lifts_are_counted_and_the_last_is_the_hold(sim):
    def lifted(t, force):
        return np.where((t > 0.3) & (t < 0.7), 60.0, force)

    shape = sim.shape(sim.pulled(1, changed=lifted, dwell_s=2.0))

    assert shape.lifts > 1
    assert shape.held_s == pytest.approx(3.3, abs=0.1)


def test_a_step_as_large_as_a_fifth_does_not_move_the_crest_into_the_ramp(sim):
    pull = sim.pulled(1, drop_n=50.0, dwell_s=0.8, after_s=3.0)
    shape = sim.shape(pull)

    assert shape.t[shape.crest] == pytest.approx(pull.trip_s, abs=0.08)
    assert shape.reached > 0.75 * pull.level_n


def test_a_string_that_slid_in_the_gripper_is_followed_to_its_let_off(sim):
    def slid(t, force):
        return np.where(t > 1.0, 0.45 * force, force)

    pull = sim.pulled(1, drop_n=0.0, changed=slid)

    assert times(sim.shape(pull))[2] == pytest.approx(pull.let_off_s, abs=0.1)


def test_the_ramps_end_by_a_settled_level_comes_first_at_98_per_cent(sim):
    shape = sim.shape(sim.pulled(1))
    at = top_index(shape, 200.0)

    assert shape.y[at] >= 196.0 > shape.y[at - 1]


def test_what_never_reaches_the_threshold_counts_from_the_beginning():
    assert first_at(np.zeros(9), 1.0, 3, 8) == 3


def test_a_restart_in_the_hold_is_cut_there(sim):
    pull = sim.pulled(1)
    stop = int(np.searchsorted(pull.t_s, pull.release_s + 0.5))
    shape = sim.shape(replace(pull, t_s=pull.t_s[:stop], force_n=pull.force_n[:stop]))

    assert shape.cut
    assert shape.let_off == stop - 1 - int(np.searchsorted(pull.t_s, shape.t[0]))


def test_a_hole_in_the_hold_is_told(sim):
    pull = sim.pulled(1)
    keep = (pull.t_s < pull.trip_s + 0.5) | (pull.t_s > pull.trip_s + 1.2)
    holed = replace(pull, t_s=pull.t_s[keep], force_n=pull.force_n[keep])

    assert sim.shape(pull).longest_gap == pytest.approx(SAMPLE_S, abs=1e-6)
    assert sim.shape(holed).longest_gap == pytest.approx(0.7, abs=0.02)


def stretch(force: np.ndarray, *, first: int, last: int, cut: bool = False) -> Stretch:
    t = np.arange(len(force)) * SAMPLE_S
    return Stretch(
        boot=0, t_s=t, counts=force * 1e4, first=first, last=last, base=0.0, cut_at_end=cut
    )


def test_a_weight_that_was_taken_for_empty_and_comes_off_is_no_pull(sim):
    """The sitting began with 100 N on the cell; 40 N more came, then everything went."""
    force = np.concatenate([np.full(100, 100.0), np.full(100, 140.0), np.zeros(40)])

    assert shape_of(stretch(force, first=100, last=199), calibration=sim.scale) is None


@pytest.mark.parametrize(("n", "first", "last"), [(11, 2, 9), (200, 100, 102)])
def test_what_only_touched_the_threshold_has_no_shape(sim, n: int, first: int, last: int):
    assert shape_of(stretch(np.ones(n), first=first, last=last), calibration=sim.scale) is None


def test_joining_keeps_every_sample_once_and_the_first_empty_reading(sim):
    force = sim.pulled(1).force_n
    one = stretch(force[:400], first=330, last=390)
    two = Stretch(
        boot=0,
        t_s=np.arange(380, 700) * SAMPLE_S,
        counts=force[380:700] * 1e4,
        first=40,
        last=300,
        base=5.0,
        cut_at_end=True,
    )

    both = joined([one, two])

    assert np.array_equal(both.t_s, np.arange(700) * SAMPLE_S)
    assert (both.first, both.last, both.base, both.cut_at_end) == (330, 680, 0.0, True)
    assert joined([one]) is one
