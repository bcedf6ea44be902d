"""Shifts: least squares by a general solver, clipping, and what is not known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.series import DAY_S, Series
from tensionlog.clamps.shifts import CLIP, KINDS, Since, kind_of, possible, shifts_of


def series(values, name="give-A", **more):
    times = tuple(DAY_S * (day + 1) for day in range(len(values)))
    return Series(name=name, times_s=times, values=tuple(map(float, values)), **more)


def one(values, begin, shape="step", **more):
    at_s = DAY_S * len(values)
    return shifts_of(series(values, **more), (Since(DAY_S * (begin + 1), shape),), at_s)


@given(st.integers(0, 2**32 - 1), st.sampled_from(["step", "drift"]))
def test_the_size_is_that_of_a_general_least_squares(seed, shape):
    values = np.random.default_rng(seed).normal(1.0, 0.1, 24)
    found = one(values, 15, shape)
    gone = np.maximum(np.arange(24) - 14.5, 0.0) / 8.5
    column = gone if shape == "drift" else (np.arange(24) >= 15).astype(float)
    expected = np.linalg.lstsq(np.column_stack([np.ones(24), column]), values, rcond=None)[0]
    assert found.size[0] == pytest.approx(expected[1], abs=1e-9)
    assert found.level[0] == pytest.approx(values[:15].mean())
    assert found.n_after[0] == 9


def test_one_bad_test_scores_no_more_than_its_clip():
    values = [1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.0, 9.0]
    found = one(values, 8)
    assert found.size[0] > 7.0
    assert found.score[0] < CLIP


def test_a_level_series_scores_like_a_normal_number():
    rng = np.random.default_rng(1)
    scores = [one(rng.normal(1.0, 0.1, 30), 20).score[0] for _ in range(400)]
    assert np.std(scores) == pytest.approx(1.0, abs=0.12)


def test_a_noisier_bench_is_believed_to_be_noisier():
    rng = np.random.default_rng(2)
    quiet, loud = one(rng.normal(1.0, 0.1, 30), 20), one(rng.normal(1.0, 0.4, 30), 20)
    assert loud.u[0] > 2.5 * quiet.u[0]


@pytest.mark.parametrize("begin", [3, 30])
def test_without_a_baseline_or_anything_since_nothing_is_known(begin):
    found = one(np.ones(12), begin).at(0)
    assert np.isinf(found.u)
    assert found.size == 0.0


def test_what_came_before_a_service_is_no_baseline():
    found = one(np.ones(20), 15, marks_s=(DAY_S * 12.5,))
    assert np.isinf(found.u[0])


def test_tests_of_one_morning_are_one_day():
    times = (DAY_S, DAY_S + 60.0, 2 * DAY_S)
    morning = Series(name="give-A", times_s=times, values=(1.0, 1.0, 1.0))
    days = {since.at_s for since in possible({"give-A": morning}, 3 * DAY_S)}
    assert days == {DAY_S, 2 * DAY_S}


def test_kinds_go_by_name():
    assert kind_of("give-B") is KINDS["give"]
    assert kind_of("span").unit == "%"
