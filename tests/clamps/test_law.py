"""The relaxation law against its own limits and figures worked out elsewhere."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps import law
from tensionlog.clamps.landmarks import Landmarks
from tensionlog.clamps.law import Relaxing, Rows, decades, reading

TIMES = np.linspace(3.01, 23.0, 400)


def rows(*, locked=True, t_s=TIMES):
    ones = np.ones_like(t_s)
    marks = Landmarks(
        pull_s=-1.0, top_s=0.0, trip_s=0.0, hand_off_s=3.0, alone_s=3.1, again=None, last_s=23.0
    )
    return Rows(
        t_s=t_s,
        force=ones,
        variance=ones,
        loaded=ones,
        alone=(t_s >= 3.0).astype(float),
        fixed=ones if locked else (t_s >= 3.0).astype(float),
        marks=marks,
        locked=locked,
    )


def theta(**named):
    values = np.zeros(law.N_FIXED)
    values[law.LN_TAU], values[law.FADE] = np.log(0.2), 1.0
    for name, number in named.items():
        values[getattr(law, name)] = number
    return values


@pytest.mark.parametrize(
    ("share", "slows_to"), [(0.05, 0.88), (0.10, 0.77), (0.20, 0.53), (0.30, 0.30)]
)
def test_a_loss_slows_what_is_left_of_relaxation(share, slows_to):
    """Over 20 s after a hold of 3 s: worked out from the formula in the module's docstring."""
    r, tau_s, peak = 0.04, 0.2, 100.0
    at_hand_off = peak * (1.0 - r * decades(3.0, tau_s))
    whole = theta(FORCE=at_hand_off, RELAX=r * peak, LOSS=share * peak)
    ends = rows(t_s=np.array([3.0, 23.0]))
    fell = np.diff(reading(whole, ends))
    alone = np.diff(reading(theta(FORCE=at_hand_off, RELAX=r * peak), ends))
    assert fell[0] / alone[0] == pytest.approx(slows_to, abs=0.006)


@given(st.floats(0.01, 5.0), st.floats(0.05, 0.5))
def test_decades_grow_from_nothing_and_by_one_per_decade(t_s, tau_s):
    assert decades(0.0, tau_s) == 0.0
    assert decades(-t_s, tau_s) == 0.0
    far = 1e6 * tau_s
    assert decades(10 * far, tau_s) - decades(far, tau_s) == pytest.approx(1.0, abs=1e-5)


@given(st.floats(0.0, 0.1), st.floats(0.05, 0.5))
def test_a_slow_converter_sees_the_mean_of_the_law(share, tau_s):
    sharp, blurred = Relaxing(share, tau_s, 0.0), Relaxing(share, tau_s, 0.4)
    ages = np.array([0.6, 2.0, 10.0])
    fine = np.linspace(-0.2, 0.2, 4001)
    mean = np.array([np.mean(sharp.grown(age + fine)) for age in ages])
    assert blurred.grown(ages) == pytest.approx(mean, abs=2e-4)


def test_a_step_is_one_at_once_and_shrinks():
    one = Relaxing(0.05, 0.2, 0.0).step(np.array([0.9, 1.0, 3.0]), 1.0)
    assert one[0] == 0.0
    assert one[1] == 1.0
    assert one[2] == pytest.approx(1.0 - 0.05 * np.log10(11.0))


def test_a_head_that_holds_its_force_shows_no_relaxation_before_the_hand_off():
    held = rows(locked=False, t_s=np.array([1.0, 2.9]))
    assert reading(theta(FORCE=100.0, RELAX=4.0), held) == pytest.approx([100.0, 100.0])


def test_the_locked_hold_meets_the_time_after_it_without_a_jump():
    both = rows(t_s=np.array([2.999999, 3.000001]))
    assert np.ptp(reading(theta(FORCE=100.0, RELAX=4.0), both)) < 1e-4


def test_creep_is_counted_from_the_hand_off():
    crept = reading(theta(FORCE=100.0, CREEP=0.2), rows(t_s=np.array([3.0, 13.0])))
    assert crept == pytest.approx([100.0, 98.0])
