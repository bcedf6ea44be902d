"""The course of a motor with a dead band, in closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.dip import Trace
from tensionlog.pulls.motor_course import (
    BEGIN,
    DROP,
    LEVEL,
    LN_TAU,
    MODES,
    UPPER,
    Grid,
    course,
    courses,
    shown,
)
from tensionlog.pulls.motor_exact import Prior, Start, fit_course, fit_courses, stretch_of

TOP_T = 5.0
TIMES = np.arange(6.0, 8.0, 0.0125)
BOXES = (0.0125, 0.0125, 0.0125)


def parameters(**changes: float) -> np.ndarray:
    named = {
        "level": 100.0,
        "slope": 4.0,
        "drop": 2.0,
        "upper": 100.4,
        "begin": 6.5,
        "fall": 0.015,
        "ln_tau": float(np.log(0.15)),
        "band": 1.0,
        "short": 0.05,
    }
    return np.array(list((named | changes).values()))


def grid(step_s: float = 0.001) -> Grid:
    return Grid.of(TIMES, top_t=TOP_T, boxes_s=BOXES, step_s=step_s)


@settings(max_examples=12)
@given(drop=st.floats(0.5, 20.0), tau=st.floats(0.07, 0.33), fall=st.floats(0.005, 0.03))
def test_the_area_of_a_dip_over_the_time_constant_is_the_drop(drop, tau, fall):
    there = Grid.of(np.arange(6.0, 14.0, 0.1), top_t=TOP_T, boxes_s=BOXES, step_s=0.0005)
    named = {"ln_tau": float(np.log(tau)), "short": 0.005, "band": 0.02, "slope": 0.001}
    p = parameters(level=100.4, drop=drop, fall=fall, **named)
    force = course(there, p[None], "pulling")[0]
    missing = np.where(there.x < 6.5 + 12 * tau, 100.4 - force, 0.0)

    assert missing.sum() * there.step_s / tau == pytest.approx(drop, rel=0.01)


@pytest.mark.parametrize("mode", MODES)
def test_a_course_has_no_jumps(mode: str):
    there = grid(0.0005)
    drop = 0.3 if mode == "lasting" else 2.0
    force = course(there, parameters(drop=drop)[None], mode)[0]

    steepest = 2.0 / 0.015 + 1.0 / 0.15
    assert np.abs(np.diff(force)).max() < 1.5 * steepest * there.step_s


@settings(max_examples=12)
@given(level=st.floats(99.5, 100.3))
def test_the_motor_starts_once_the_band_is_left(level: float):
    there = grid()
    force = course(there, parameters(level=level, drop=3.0, fall=0.02)[None], "resting")[0]
    down = force[(there.x > 6.5) & (there.x < 6.52)]

    assert down.min() > level - 3.0
    assert force[there.x > 6.52].max() == pytest.approx(100.35, abs=0.02)


def test_a_fall_within_the_band_is_left_until_the_lower_edge_is_reached():
    there = grid()
    force = course(there, parameters(level=100.2, drop=0.4, slope=2.0)[None], "lasting")[0]
    after = (there.x > 6.53) & (there.x < 6.6)

    assert np.all(np.diff(force[after]) < 0.0)
    assert force[after].max() == pytest.approx(99.8, abs=0.05)


def test_the_converter_shows_a_slow_change_late_by_half_of_what_it_averages():
    there = grid()
    slope = 3.0
    seen = shown(there, 100.0 + slope * (there.x[None] - 6.0))[0]

    expected = 100.0 + slope * (TIMES - 6.0 - 0.5 * sum(BOXES))
    assert seen[8:] == pytest.approx(expected[8:], abs=1e-4)


@settings(max_examples=12)
@given(
    drop=st.floats(1.5, 8.0),
    begin=st.floats(6.45, 6.55),
    tau=st.floats(0.09, 0.25),
    mode=st.sampled_from(["resting", "pulling"]),
)
def test_a_fit_finds_what_made_the_samples(drop, begin, tau, mode):
    true = parameters(drop=drop, begin=begin, ln_tau=np.log(tau), level=99.9)
    y = shown(grid(0.002), course(grid(0.002), true[None], mode))[0]
    trace = Trace(t=TIMES, y=y, noise=0.01, period=0.0125, boxes_s=BOXES)
    start = true.copy()
    start[[LEVEL, DROP, UPPER, BEGIN, LN_TAU]] += [0.05, 0.2, 0.05, 0.004, 0.05]
    sds = np.array([1e3, 1.0, 1e3, 5.0, 0.02, 0.008, 0.3, 0.02, 0.005])
    prior = Prior(means=np.where(sds < 0.9, start, true), sds=sds)
    found = fit_course(
        stretch_of(trace, TOP_T), Start(mode=mode, p=start, prior=prior), rounds=20
    )

    assert abs(found.p[DROP] - drop) < 3.0 * found.u_drop + 0.01
    assert found.misfit < 1.0


def test_fits_side_by_side_are_those_of_each_alone():
    true = parameters(drop=3.0, level=99.9)
    y = shown(grid(0.002), course(grid(0.002), true[None], "resting"))[0]
    y = y + np.random.default_rng(3).normal(0.0, 0.03, len(y))
    trace = Trace(t=TIMES, y=y, noise=0.03, period=0.0125, boxes_s=BOXES)
    sds = np.array([1e3, 1.0, 1e3, 5.0, 0.02, 0.008, 0.3, 0.02, 0.005])
    starts = [Start(mode=mode, p=true, prior=Prior(means=true, sds=sds)) for mode in MODES]
    stretch = stretch_of(trace, TOP_T)

    for start, beside in zip(starts, fit_courses(stretch, starts), strict=True):
        alone = fit_course(stretch, start)
        assert beside.mode == alone.mode == start.mode
        assert beside.p == pytest.approx(alone.p, rel=1e-6, abs=1e-6)
        assert beside.chi2 == pytest.approx(alone.chi2, rel=1e-6)


def test_courses_of_several_modes_at_once_are_those_of_each_alone():
    there = grid()
    rows = np.vstack([parameters(drop=d, level=v) for d in (0.2, 2.0) for v in (99.6, 100.3)])
    together = courses(there, [(mode, rows) for mode in MODES])

    for k, mode in enumerate(MODES):
        assert together[4 * k : 4 * k + 4] == pytest.approx(course(there, rows, mode))
