"""Three heads, three traces; the same release leaves each its own mark."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin.bench import draw_head
from tensionlog.twin.frame import Step
from tensionlog.twin.head import (
    HEAD_NAMES,
    TRANSITS,
    Hand,
    Trace,
    opens_nothing,
    ramp_shape,
    step_down,
    transit_shape,
)
from tensionlog.twin.head_bar import DropWeight
from tensionlog.twin.head_lockout import Lockout
from tensionlog.twin.head_motor import ConstantPull
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S, draw_string

STRING = draw_string(stream(1, "reel"), sport="tennis", law="log")
HAND = Hand(set_n=240.0, ramp_s=1.0, dwell_s=2.0, after_s=3.0, opens=True)
QUIET_MOTOR = ConstantPull(sensor_noise_n=0.0, band_n=0.5, stop_n=0.02)


def pulled(head, *, drop_n=0.0, seed=1, string=STRING, **hand: object) -> Trace:
    return head.pull(
        stream(seed, "hands"),
        string=string,
        hand=replace(HAND, **hand),
        opened=lambda head_n, after_s: Step(drop_n=drop_n, held_n=0.0, stiffness_left=0.6),
    )


@given(kind=st.sampled_from(TRANSITS), seconds=st.floats(0.005, 0.03))
@settings(max_examples=40, deadline=None)
def test_a_release_falls_once_and_wholly(kind: str, seconds: float):
    shape = transit_shape(kind, seconds)

    assert shape[-1] == pytest.approx(1.0)
    assert np.all(np.diff(shape, prepend=0.0) >= -1e-12)
    down = step_down(100, 40, kind, seconds)
    assert down[39] == 0.0 and down[-1] == 1.0


@given(seed=st.integers(0, 999), stiffening=st.floats(1.0, 1.5))
@settings(max_examples=40, deadline=None)
def test_an_unsteady_hand_still_only_pulls(seed: int, stiffening: float):
    ramp = ramp_shape(stream(seed, "ramp"), seconds=0.8, stiffening=stiffening)

    assert ramp[-1] == 1.0
    assert np.all(np.diff(ramp) > 0.0)


@pytest.mark.parametrize("name", HEAD_NAMES)
def test_every_head_comes_near_what_it_is_set_to(name: str):
    head = draw_head(stream(3, "head"), name).dialled(0.0)

    trace = pulled(head)

    assert trace.before_n == pytest.approx(240.0, rel=0.08)
    assert trace.force_n[0] < 5.0
    assert head.name == name


@pytest.mark.parametrize("name", HEAD_NAMES)
def test_a_dial_error_moves_every_head(name: str):
    head = draw_head(stream(3, "head"), name)

    low, high = pulled(head.dialled(0.0)), pulled(head.dialled(0.03))

    assert high.before_n / low.before_n == pytest.approx(1.03, abs=0.005)


@pytest.mark.parametrize("name", HEAD_NAMES)
def test_a_hand_that_opens_nothing_meets_nobody(name: str):
    head = draw_head(stream(4, "head"), name)

    trace = head.pull(
        stream(1, "h"), string=STRING, hand=replace(HAND, opens=False), opened=opens_nothing
    )

    assert trace.open_i is None and trace.step is None
    with pytest.raises(ValueError, match=r"240\.0 N"):
        opens_nothing(240.0, 1.0)


def test_an_unknown_head_is_refused():
    with pytest.raises(ValueError, match="'steam'"):
        draw_head(stream(1, "head"), "steam")


def test_it_trips_springs_back_and_relaxes():
    head = Lockout(trip_scatter=0.0, speed_effect=0.0, spring_back=0.02)
    trace = pulled(head, opens=False, dwell_s=4.0)
    after = trace.top_i + np.array([200, 1200, 3200])

    assert trace.force_n.max() == pytest.approx(240.0, rel=1e-3)
    assert np.all(np.diff(trace.force_n[after]) < 0.0)
    assert 0.005 < 1 - trace.force_n[trace.top_i + 150] / 240.0 - STRING.relax * 0.2 < 0.045


def test_the_release_is_a_plain_step_that_stays():
    head = Lockout()
    still, moved = pulled(head, drop_n=0.0), pulled(head, drop_n=6.0)
    gone = still.force_n - moved.force_n

    assert gone[: moved.open_i].max() == 0.0
    assert gone[moved.open_i + 30 :] == pytest.approx(6.0)
    assert moved.after_n == pytest.approx(still.after_n - 6.0)


def test_the_reading_at_three_seconds_is_the_law_read_on():
    short, long = pulled(Lockout(), after_s=0.6), pulled(Lockout(), after_s=8.0)

    assert short.at_3s_n == pytest.approx(long.at_3s_n, rel=0.002)


def test_a_second_crank_comes_back_to_the_trip():
    trace = pulled(Lockout(spring_back=0.01), again_s=0.8)
    second = trace.force_n[trace.top_i + 800 : trace.top_i + 1400].max()

    assert second == pytest.approx(trace.force_n[trace.top_i], rel=0.01)
    assert second > trace.force_n[trace.top_i + 790] + 2.0


def test_a_gripper_that_slips_in_the_hold_stays_down():
    slipped = pulled(Lockout(), grip_slip=0.1, slip_in_hold=True)

    assert slipped.before_n == pytest.approx(0.9 * pulled(Lockout()).before_n, rel=0.02)


def test_a_gripper_that_slips_in_the_rise_is_made_good_by_the_trip():
    slipped = pulled(Lockout(), grip_slip=0.3).force_n[:1000]

    assert np.diff(slipped).min() < -1.0
    assert slipped[-1] == pytest.approx(pulled(Lockout()).force_n[999], rel=0.01)


def test_straightening_takes_something_off_for_good():
    plain = pulled(Lockout())
    worked = pulled(Lockout(), straighten_at_s=0.5, straighten_n=2.0, straighten_s=0.4)

    assert plain.before_n - worked.before_n == pytest.approx(2.0)


def test_it_overshoots_then_keeps_to_its_dead_band():
    trace = pulled(QUIET_MOTOR, opens=False, dwell_s=6.0)
    kept = trace.force_n[trace.top_i + 1500 :]

    assert trace.force_n.max() > 241.0
    assert np.abs(kept - 240.0).max() < 0.75


def test_the_saw_tooth_has_teeth():
    head = replace(QUIET_MOTOR, band_n=0.8, slowest_n_per_s=4.0)
    trace = pulled(head, opens=False, dwell_s=12.0)
    kept = trace.force_n[trace.top_i + 1500 :]

    assert np.ptp(kept) > 0.6
    assert np.sum(np.diff(np.sign(np.diff(kept))) != 0) >= 2


@pytest.mark.parametrize("time_constant_s", [0.1, 0.3])
def test_the_dip_over_the_time_constant_is_the_drop(time_constant_s: float):
    """Area of the dip / time constant of the loop = drop, where nothing else moves."""
    head = replace(
        QUIET_MOTOR, time_constant_s=time_constant_s, slowest_n_per_s=0.1, band_n=0.5
    )
    still = replace(STRING, relax=0.0)
    moved = pulled(head, drop_n=8.0, after_s=4.0, string=still)
    dip = moved.before_n - moved.force_n[moved.open_i : moved.open_i + 3000]
    while_it_lasts = dip[: round(6 * time_constant_s / DT_S)]

    assert dip.max() > 6.5
    assert while_it_lasts.sum() * DT_S / time_constant_s == pytest.approx(8.0, rel=0.1)
    assert moved.after_n == pytest.approx(moved.before_n, abs=0.3)


def test_a_dip_inside_the_dead_band_is_never_made_good():
    head = replace(QUIET_MOTOR, band_n=3.0, slowest_n_per_s=4.0)
    slow = {"dwell_s": 6.0, "string": replace(STRING, relax=0.005)}
    still, moved = pulled(head, drop_n=0.0, **slow), pulled(head, drop_n=1.0, **slow)

    assert still.after_n - moved.after_n == pytest.approx(1.0, abs=0.15)


def test_a_dragged_span_makes_the_motor_slower():
    head = replace(QUIET_MOTOR, time_constant_s=0.3, band_n=0.05)
    alone = pulled(head, drop_n=8.0)
    dragged = pulled(replace(head, back_drag=1.0), drop_n=8.0)
    half = slice(alone.open_i + 100, alone.open_i + 900)

    assert (240 - dragged.force_n[half]).sum() > 1.25 * (240 - alone.force_n[half]).sum()


def test_pre_stretch_pulls_over_first():
    trace = pulled(QUIET_MOTOR, prestretch=0.1)

    assert trace.force_n.max() > 262.0
    assert trace.before_n == pytest.approx(240.0, abs=1.0)


@pytest.mark.parametrize("in_hold", [False, True])
def test_a_slipping_gripper_is_made_good(in_hold: bool):
    trace = pulled(QUIET_MOTOR, grip_slip=0.2, slip_in_hold=in_hold, dwell_s=3.0)

    assert np.diff(trace.force_n).min() < -0.5
    assert trace.after_n == pytest.approx(240.0, abs=1.0)


@given(hz=st.floats(0.5, 1.2))
@settings(max_examples=6, deadline=None)
def test_it_bounces_at_its_own_frequency_and_dies_down(hz: float):
    head = DropWeight(bounce_hz=hz, damping=0.08, angle_sd_deg=0.0)
    trace = pulled(head, opens=False, dwell_s=8.0)
    swing = trace.force_n[trace.top_i :] - trace.before_n
    turns = np.flatnonzero(np.diff(np.sign(swing)))

    assert len(turns) >= 3
    assert 0.5 / (np.diff(turns[:4]).mean() * DT_S) == pytest.approx(hz, rel=0.15)
    assert np.abs(swing[-1000:]).max() < 0.4 * np.abs(swing).max()


def test_the_force_goes_by_the_cosine_of_the_bar():
    """Cos 10° = 0.985: a bar that ends 10° off level pulls 1.5 % less."""
    head = DropWeight(angle_sd_deg=10.0, sink_deg_per_n=0.0)
    ends = [pulled(head, seed=s, dwell_s=0.1, after_s=0.1).before_n for s in range(40)]

    assert max(ends) <= 240.0
    assert np.mean(ends) / 240.0 == pytest.approx(np.exp(-0.5 * np.radians(10) ** 2), abs=0.01)


def test_a_release_is_a_step_at_first_and_a_bounce_then():
    head = DropWeight(damping=0.15, angle_sd_deg=0.0)
    still, moved = pulled(head, drop_n=0.0), pulled(head, drop_n=6.0)
    gone = still.force_n[: len(moved.force_n)] - moved.force_n
    at = moved.open_i

    assert gone[at + 20] == pytest.approx(6.0, rel=0.1)
    assert gone[at : at + 1500].min() < -0.5
    assert abs(moved.after_n - moved.before_n) < 0.5


def test_several_lifts_are_one_pull_with_hollows():
    trace = pulled(DropWeight(), lifts=3)
    rise = trace.force_n[: trace.top_i]
    peaks = np.flatnonzero((rise[1:-1] > 120) & (np.diff(np.sign(np.diff(rise))) < 0))

    assert len(peaks) >= 2
    assert trace.before_n == pytest.approx(240.0, rel=0.03)
