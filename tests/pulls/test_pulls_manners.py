"""Slips, pushes, haste and second cranks are told apart, and from a plain release."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.manners import manners_of


def push(at_s: float, for_s: float, newtons: float):
    def changed(t, force):
        inside = (t > at_s) & (t < at_s + for_s)
        return force + newtons * np.where(inside, np.sin(np.pi * (t - at_s) / for_s), 0.0)

    return changed


def falls(*parts: tuple[float, float]):
    """Falls of so many newtons at so many seconds after the trip."""

    def changed(t, force):
        return force - sum(size * np.clip((t - at) / 0.02, 0.0, 1.0) for at, size in parts)

    return changed


@given(
    seed=st.integers(0, 3000),
    level_n=st.floats(90.0, 290.0),
    drop_share=st.floats(0.0, 0.15),
    dwell_s=st.floats(0.6, 2.0),
    after_s=st.floats(0.8, 2.5),
    rate_hz=st.sampled_from([20.0, 80.0, 320.0]),
)
@settings(max_examples=40)
def test_an_ordinary_pull_is_not_flagged(
    sim, seed, level_n, drop_share, dwell_s, after_s, rate_hz
):
    pull = sim.pulled(
        seed,
        level_n=level_n,
        drop_n=drop_share * level_n,
        dwell_s=dwell_s,
        after_s=after_s,
        rate_hz=rate_hz,
        push_n=0.4,
    )

    assert sim.flags(pull) == set()


@pytest.mark.parametrize("seed", range(4))
def test_a_cross_pushed_straight_is_told(sim, seed: int):
    pull = sim.pulled(seed, dwell_s=2.0, changed=push(0.5, 0.5, 4.0))

    assert sim.flags(pull) == {"straightened"}


def test_samples_that_a_hand_is_in_are_marked(sim):
    pull = sim.pulled(1, dwell_s=2.0, changed=push(0.5, 0.5, 4.0))
    shape = sim.shape(pull)
    hands = manners_of(shape, relaxes=True).hands
    in_push = np.abs(shape.t - pull.trip_s - 0.78) < 0.15
    calm = (shape.t > pull.trip_s + 1.2) & (shape.t < pull.release_s)

    assert hands[in_push].all()
    assert not hands[calm].any()


def test_a_pluck_is_no_straightening(sim):
    def pluck(t, force):
        ring = 5.0 * np.exp(-(t - 0.8) / 0.03) * np.sin(140.0 * t)
        return force + np.where(t > 0.8, ring, 0.0)

    assert sim.flags(sim.pulled(1, dwell_s=2.0, changed=pluck)) == set()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "slip", [falls((0.5, 18.0), (1.1, 14.0)), falls((0.6, 90.0))], ids=["in steps", "far"]
)
def test_a_string_that_slides_in_the_gripper_is_told(sim, seed: int, slip):
    pull = sim.pulled(seed, dwell_s=2.0, after_s=2.0, drop_n=0.0, changed=slip)

    assert sim.flags(pull) == {"gripper-slip"}


def test_one_fall_that_an_empty_span_could_take_is_a_release(sim):
    assert sim.flags(sim.pulled(1, drop_n=0.2 * 250.0)) == set()


@pytest.mark.parametrize(("dwell_s", "after_s"), [(0.15, 0.3), (0.2, 0.4)])
def test_a_clamp_shut_before_the_top_has_settled_is_early(sim, dwell_s, after_s):
    assert "early-clamp" in sim.flags(sim.pulled(1, dwell_s=dwell_s, after_s=after_s))


def test_a_second_crank_is_told_and_its_hold_begins_there(sim):
    def again(t, force):
        more = 0.05 * 250.0 * np.clip((t - 0.6) / 0.2, 0.0, 1.0)
        return np.where(t > 0.6, force + more, force)

    pull = sim.pulled(1, dwell_s=2.2, changed=again)
    manners = manners_of(sim.shape(pull), relaxes=True)

    assert manners.flags == ("worked-twice",)
    assert manners.risen_t == pytest.approx(pull.trip_s + 0.8, abs=0.15)


def test_a_landing_on_the_way_up_is_a_second_crank(sim):
    def landing(t, force):
        return np.where(t < 0.0, np.where(t > -0.4, 0.6 * 250.0, force), force)

    assert "worked-twice" in sim.flags(sim.pulled(1, changed=landing))


def test_a_head_that_makes_good_its_own_force_is_not_read_like_a_lock(sim):
    pull = sim.pulled(1, dwell_s=2.0, changed=push(0.5, 0.5, 4.0))

    assert sim.flags(pull, relaxes=False) == set()
    assert not manners_of(sim.shape(pull), relaxes=False).hands.any()
