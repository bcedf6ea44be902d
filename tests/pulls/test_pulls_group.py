"""Which stretches of a job are pulls, which are one pull, and what they share."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.finder import Stretch
from tensionlog.pulls.group import (
    is_pull,
    measure,
    same_pull,
    shapes_of,
    usual_level,
    zero_walk,
)
from tensionlog.pulls.heads import reader_for
from tensionlog.pulls.hold import SHUT_BEFORE_S
from tensionlog.pulls.manners import manners_of

RATE_HZ = 80.0


def session(*loads: tuple[float, float, float], rise_s: float = 0.5) -> np.ndarray:
    """Force of (newtons, seconds held, seconds of nothing before) one after another."""
    parts = []
    for newtons, held_s, gap_s in loads:
        rise = newtons * np.linspace(0.0, 1.0, round(rise_s * RATE_HZ))
        fall = newtons * np.linspace(1.0, 0.0, 8)
        parts += [np.zeros(round(gap_s * RATE_HZ)), rise]
        parts += [np.full(round(held_s * RATE_HZ), newtons), fall]
    force = np.concatenate([*parts, np.zeros(round(2 * RATE_HZ))])
    return force + np.random.default_rng(1).normal(0.0, 0.05, len(force))


def shapes_in(sim, force: np.ndarray) -> list:
    found = sim.stretches(np.arange(len(force)) / RATE_HZ, force, rate_hz=RATE_HZ)
    return [shape for _, shape in shapes_of(found, calibration=sim.scale)]


def pulls_in(sim, force: np.ndarray) -> list:
    shapes = shapes_in(sim, force)
    usual = usual_level(shapes)
    return [s for s in shapes if is_pull(s, usual=usual)]


# ------------------------------------------------------------------- what is a pull


@given(
    levels=st.lists(st.floats(108.0, 130.0), min_size=3, max_size=6),
    held_s=st.floats(0.3, 4.0),
)
@settings(max_examples=20)
def test_every_string_that_is_held_is_a_pull(sim, levels, held_s):
    assert len(pulls_in(sim, session(*[(n, held_s, 4.0) for n in levels]))) == len(levels)


@given(
    knock_n=st.floats(15.0, 200.0),
    samples=st.integers(3, 6),
    slack_n=st.floats(13.0, 60.0),
)
@settings(max_examples=20)
def test_knocks_and_slack_between_pulls_are_none(sim, knock_n, samples, slack_n):
    force = session((120.0, 3.0, 4.0), (0.0, 3.0, 0.0), (120.0, 3.0, 4.0), (120.0, 3.0, 4.0))
    at = round(8.6 * RATE_HZ)
    force[at : at + samples] += knock_n
    force[at + 160 : at + 230] += slack_n

    assert len(pulls_in(sim, force)) == 3


def test_a_string_gripped_again_before_it_held_is_none(sim):
    force = session((120.0, 3.0, 4.0), (60.0, 0.8, 4.0), (120.0, 3.0, 2.0), (120.0, 3.0, 4.0))

    assert len(pulls_in(sim, force)) == 3


def test_a_redone_pull_that_came_too_low_is_a_pull(sim):
    force = session((120.0, 3.0, 4.0), (90.0, 2.0, 4.0), (120.0, 3.0, 4.0), (120.0, 3.0, 4.0))

    assert len(pulls_in(sim, force)) == 4


def test_knot_boost_and_softer_crosses_are_pulls(sim):
    force = session((120.0, 3.0, 4.0), (132.0, 3.0, 4.0), (112.0, 3.0, 4.0), (120.0, 3.0, 4.0))

    assert len(pulls_in(sim, force)) == 4


def test_a_pull_that_the_stream_broke_off_on_its_way_up_counts_from_its_start(sim):
    force = session((120.0, 3.0, 4.0), (120.0, 3.0, 4.0), (120.0, 3.0, 4.0), rise_s=1.0)
    ends = int(np.flatnonzero(force > 119.0)[-200])
    cut = force[: ends + 1]

    assert len(pulls_in(sim, cut)) == len(pulls_in(sim, force))


def test_where_nothing_was_held_there_is_no_usual_level():
    assert usual_level([]) == 0.0


def test_the_usual_level_does_not_follow_the_low_ones(sim):
    force = session(*[(120.0, 3.0, 4.0)] * 3, *[(40.0, 1.0, 4.0)] * 4)

    assert usual_level(shapes_in(sim, force)) == pytest.approx(120.0, abs=1.0)


# ------------------------------------------------------------------- what is one pull


def stretch(t_s: float, level: float, *, boot: int = 0, seconds: float = 2.0) -> Stretch:
    n = round(seconds * RATE_HZ)
    counts = np.concatenate([np.zeros(20), np.full(n, level), np.zeros(20)])
    return Stretch(
        boot=boot,
        t_s=t_s + np.arange(len(counts)) / RATE_HZ,
        counts=counts,
        first=20,
        last=19 + n,
        base=0.0,
        cut_at_end=False,
    )


@pytest.mark.parametrize(
    ("gap_s", "level", "boot", "is_same"),
    [
        (0.8, 100.0, 0, True),
        (0.8, 80.0, 0, True),
        (0.8, 60.0, 0, False),  # slack, not a lift
        (1.5, 100.0, 0, False),  # time enough to grip anew
        (0.8, 100.0, 1, False),  # another start of the device
    ],
)
def test_brought_up_again_soon_and_as_high_is_one_pull(gap_s, level, boot, is_same):
    first = stretch(0.0, 100.0)
    ended_s = float(first.t_s[first.last])
    second = stretch(ended_s + gap_s - 20 / RATE_HZ, level, boot=boot)

    assert same_pull(first, second) is is_same


def test_two_lifts_of_a_bar_are_one_pull_worked_twice(sim):
    force = session((120.0, 1.0, 4.0), (120.0, 3.0, 0.5), (120.0, 3.0, 4.0))
    first, _ = shapes_in(sim, force)

    assert first.lifts > 1
    assert "worked-twice" in manners_of(first, relaxes=False).flags


# ----------------------------------------------------------------------- what is shared


def test_the_zeros_walk_comes_from_the_idle_gaps(sim):
    rng = np.random.default_rng(2)
    shape = sim.shape(sim.pulled(1))
    times = np.cumsum(rng.uniform(10.0, 30.0, 40))
    walked = np.cumsum(rng.normal(0.0, 0.008 * np.sqrt(np.diff(times, prepend=0.0))))
    shapes = [
        replace(shape, idle_at=at, idle=3.0 + w) for at, w in zip(times, walked, strict=True)
    ]

    assert zero_walk(shapes) == pytest.approx(0.008, rel=0.5)


def test_a_few_gaps_leave_the_usual_walk_and_none_leave_nothing(sim):
    shape = sim.shape(sim.pulled(1))

    assert zero_walk([]) == 0.0
    assert zero_walk([shape] * 3) == pytest.approx(0.08 * shape.noise)


# ------------------------------------------------------------------------- one pull read


def test_a_pull_is_read_into_the_numbers_that_are_kept(sim):
    pull = sim.pulled(1, drop_n=6.0)
    shape = sim.shape(pull)
    manners = manners_of(shape, relaxes=True)

    read = measure(shape, manners, reader=reader_for("lockout"), walk=0.004)

    assert read.peak == pytest.approx(250.0, abs=1.5)
    assert read.hold.seen
    assert read.release_t == read.hold.release_s
    assert read.top_t == pytest.approx(pull.trip_s, abs=0.1)
    assert read.shut_t == pytest.approx(read.let_off_t - SHUT_BEFORE_S)
    assert read.u_zero > shape.u_idle
    assert (read.lifts, read.cut, read.slow_rate, read.manners) == (1, False, False, ())


def test_a_pull_that_was_cut_was_not_let_off(sim):
    shape = replace(sim.shape(sim.pulled(1)), cut=True)
    manners = manners_of(shape, relaxes=True)

    assert measure(shape, manners, reader=reader_for(None), walk=0.0).let_off_t is None
