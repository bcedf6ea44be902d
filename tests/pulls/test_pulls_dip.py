"""The tables behind both estimators, against brute integration and plain least squares."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.dip import (
    CONVERTERS,
    FALLS_S,
    STEP_S,
    grid,
    look_up,
    shrunk,
    smeared,
    solve_many,
    trace_of,
)
from tensionlog.pulls.motor import STARTS, Motor, left_over
from tensionlog.pulls.swing import fallen_variants

FINE_S = 1e-4


def brute(force: np.ndarray, boxes_s: tuple[float, ...]) -> np.ndarray:
    """Running means on a fine grid, midpoints: nothing in common with the tables."""
    for box_s in boxes_s:
        width = round(box_s / FINE_S)
        total = np.concatenate([np.zeros(width + 1), np.cumsum(force)])
        force = (total[width + 1 :] - total[1 : len(force) + 1]) / width
    return force


@settings(max_examples=25, deadline=None)
@given(tau_s=st.floats(0.07, 0.33), lag_s=st.sampled_from([0.0, 0.008, 0.015, 0.02, 0.03]))
def test_the_area_of_what_is_left_is_the_time_constant_whatever_the_lag(tau_s, lag_s):
    x = np.arange(0.0, 14.0 * tau_s + 30.0 * lag_s, 1e-4)
    left = left_over(x, tau_s, lag_s)
    assert left[0] == pytest.approx(1.0, abs=1e-6)
    assert np.trapezoid(left, x) == pytest.approx(tau_s, rel=2e-3)


def test_a_lagging_loop_solves_its_own_equation():
    tau_s, lag_s, h = 0.2, 0.02, 1e-5
    force, speed, sensed = -1.0, 0.0, 0.0
    seen = []
    for _ in range(40_000):
        seen.append(-force)
        speed += (-sensed / tau_s - speed) * h / lag_s
        sensed += (force - sensed) * h / lag_s
        force += speed * h
    x = np.arange(40_000) * h
    assert np.abs(left_over(x, tau_s, lag_s) - np.array(seen)).max() < 2e-3


@pytest.mark.parametrize("converter", CONVERTERS)
@pytest.mark.parametrize("start", STARTS)
def test_a_dip_is_what_integration_of_fall_and_motor_gives(converter, start):
    tau_s, fall_s, period = 0.15, FALLS_S[4], 0.0125
    x = np.arange(0.0, 0.8, FINE_S)
    below = np.zeros_like(x)
    for i in range(1, len(x)):
        middle = x[i] - 0.5 * FINE_S
        fall = FINE_S / fall_s if middle < fall_s else 0.0
        pull = FINE_S / tau_s if middle > start * fall_s else 0.0
        below[i] = below[i - 1] * (1.0 - pull) + fall
    boxes = tuple(period * box for box in converter)
    tables = Motor(tau_s=tau_s).tables(boxes)
    found = look_up(tables.fall(fall_s, start), x)
    assert np.abs(found - brute(below, boxes)).max() < 0.012


@settings(max_examples=25, deadline=None)
@given(
    widths=st.lists(st.floats(0.002, 0.06), min_size=1, max_size=4),
    tau_s=st.floats(0.05, 0.4),
)
def test_smearing_delays_by_half_the_boxes_and_loses_no_area(widths, tau_s):
    x = grid(12.0 * tau_s + sum(widths))
    row = np.exp(-x / tau_s)[None, :]
    shown = smeared(row, widths)[0]
    assert shown.sum() * STEP_S == pytest.approx(tau_s, rel=0.02, abs=STEP_S)
    middle = (x * shown).sum() / shown.sum()
    assert middle == pytest.approx(tau_s + 0.5 * sum(widths), abs=2.0 * STEP_S)


def test_nothing_shows_before_the_fall():
    tables = Motor().tables((0.0125,))
    assert not look_up(tables.dips[0, 0], np.array([-1.0, -1e-6])).any()


@pytest.mark.parametrize("converter", CONVERTERS)
def test_the_remainder_of_a_swing_is_exact_behind_the_converter(converter):
    omega, decay, fall_s = 5.0, 0.9, 0.02
    x = np.arange(0.0, 1.5, FINE_S)
    force = np.zeros_like(x)
    for begin in (np.arange(200) + 0.5) / 200 * fall_s:
        u = np.maximum(x - begin, 0.0)
        swing = np.exp(-decay * u) * (np.cos(omega * u) + decay / omega * np.sin(omega * u))
        force += np.where(x >= begin, swing, 0.0) / 200
    boxes = tuple(0.0125 * box for box in converter)
    variants = np.array([[omega, decay, fall_s, 0.0]])
    assert np.abs(fallen_variants(x, variants, boxes)[0] - brute(force, boxes)).max() < 0.012


def test_falls_worked_out_together_are_those_worked_out_alone():
    x = np.arange(-0.5, 3.0, 0.0125)
    boxes = (0.0125,) * 3
    variants = np.array([[5.0, 0.7, 0.03, 0.0], [5.0, 0.7, 0.03, 0.004], [5.2, 0.9, 0.03, 0.0]])
    together = fallen_variants(x, variants, boxes)
    for row, variant in zip(together, variants, strict=True):
        alone = fallen_variants(x + variant[3], np.array([[*variant[:3], 0.0]]), boxes)[0]
        assert np.allclose(row, alone, rtol=0.0, atol=1e-9)


def test_averaging_down_keeps_the_force_where_it_was():
    rng = np.random.default_rng(1)
    t = np.arange(0.0, 1.0, 1.0 / 1280.0)
    trace = trace_of(
        t,
        3.0 * t + rng.normal(0.0, 0.01, len(t)),
        noise=0.01,
        period=1.0 / 1280.0,
        converter=(1.0,),
    )
    assert 1.0 / trace.period <= 330.0
    assert trace.noise == pytest.approx(0.005)
    # All boxes together delay a slope by half their length.
    delay_s = 0.5 * (sum(trace.boxes_s) - 1.0 / 1280.0)
    assert np.mean(trace.y - 3.0 * (trace.t - delay_s)) == pytest.approx(0.0, abs=1.5e-3)


def test_many_fits_at_once_are_each_the_least_squares_fit():
    rng = np.random.default_rng(2)
    design = rng.normal(size=(5, 40, 4))
    y = rng.normal(size=40)
    free = np.zeros(4), np.full(4, np.inf)
    solved = solve_many(design, y, 0.5, free)
    for one, found, chi2 in zip(design, solved.coefficients, solved.chi2, strict=True):
        expected, rest, *_ = np.linalg.lstsq(one, y, rcond=None)
        assert found == pytest.approx(expected, abs=1e-6)
        assert chi2 == pytest.approx(rest[0] / 0.25, rel=1e-6)


@given(drop=st.floats(0.0, 5.0), u=st.floats(0.001, 1.0), gain=st.floats(0.0, 40.0))
def test_an_unseen_fall_is_never_made_larger_nor_surer(drop, u, gain):
    estimate, u_estimate = shrunk(drop, u, gain=gain)
    assert 0.0 <= estimate <= drop
    assert u_estimate >= u


def test_what_hardly_beats_nothing_counts_for_hardly_anything():
    assert shrunk(1.0, 0.3, gain=4.0)[0] < 0.01
    assert shrunk(1.0, 0.3, gain=36.0)[0] > 0.99
