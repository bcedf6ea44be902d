"""A span behind its clamp: flex comes back, slip does not, relaxation goes on."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin.clamp import Clamp, draw_clamp
from tensionlog.twin.rng import stream
from tensionlog.twin.span import HeldSpan
from tensionlog.twin.strings import draw_string

STIFF = draw_string(stream(2, "reel"), sport="tennis", law="log")
NEVER_RELAXES = replace(STIFF, relax=0.0)


def span(*, slip_mm: float = 0.0, string=NEVER_RELAXES, **clamp: float) -> HeldSpan:
    held = HeldSpan(
        position="L1",
        clamp=Clamp(name="A", **{"returns": 1.0, **clamp}),
        string=string,
        length_m=0.33,
        before_n=250.0,
        top_s=10.0,
        taken_s=13.0,
        slip_mm=slip_mm,
    )
    held.settle()
    return held


def test_give_costs_stiffness_times_millimetres():
    """Anchorage draw-in: ΔT = EA·(T/k_c + s)/L."""
    held = span(slip_mm=0.8, stiffness_n_per_mm=200.0)

    lost = 250.0 - held.force_n(14.0)

    expected = NEVER_RELAXES.ea_n * (held.force_n(14.0) / 200.0 + 0.8) / 330.0
    assert lost == pytest.approx(expected, rel=1e-9)
    assert held.flex_mm == pytest.approx(held.force_n(14.0) / 200.0)


@given(slip=st.floats(0.0, 2.0), k=st.floats(120.0, 300.0))
@settings(max_examples=40, deadline=None)
def test_flex_comes_back_when_it_is_pulled_from_ahead_and_slip_does_not(slip: float, k: float):
    held = span(slip_mm=slip, stiffness_n_per_mm=k)
    alone = held.force_n(20.0)
    balanced = 250.0 - held.n_per_mm * slip

    pulled = held.force_n(20.0, pulled_from_ahead_n=balanced)

    assert pulled == pytest.approx(balanced)
    assert pulled - alone == pytest.approx(held.n_per_mm * held.flex_mm)
    assert held.history_n(np.full(100, balanced))[-1] == pytest.approx(balanced, rel=1e-4)


def test_a_span_relaxes_on_from_its_own_top():
    held = span(string=STIFF, stiffness_n_per_mm=1e9)

    ratio = held.force_n(113.0) / held.force_n(13.0)

    assert ratio == pytest.approx(float(STIFF.left(103.0) / STIFF.left(3.0)), rel=1e-5)


@given(slip=st.floats(0.0, 2.0), rho=st.floats(100.0, 400.0))
@settings(max_examples=10, deadline=None)
def test_second_by_second_and_at_one_moment_agree(slip: float, rho: float):
    """Superposition of all that moves against the closed form with one step of flex."""
    held = span(slip_mm=slip, string=STIFF, stiffness_n_per_mm=rho, returns=0.95)

    history = held.history_n(np.zeros(20_000))

    for at_s in (1.0, 5.0, 19.0):
        assert history[round(at_s * 1000)] == pytest.approx(
            held.force_n(13.0 + at_s), abs=0.002 * 250.0
        )


def test_what_is_handed_over_relaxes_as_hold_tests_are_read():
    """T(t) = T₀·left(t) − Δ·left(t − t₁) where Δ is flex and slip together."""
    held = span(slip_mm=0.5, string=STIFF, stiffness_n_per_mm=250.0)
    history = held.history_n(np.zeros(20_000))
    t = np.array([1.0, 3.0, 10.0, 19.0])
    born = 250.0 / float(STIFF.left(3.0))
    given_n = held.n_per_mm * (held.slip_mm + held.flex_mm)

    expected = born * STIFF.left(3.0 + t) - given_n * STIFF.left(t)

    seen = history[np.round(t * 1000).astype(int)]
    assert seen - seen[0] == pytest.approx(expected - expected[0], rel=0.12)


def test_later_steps_and_a_creeping_base_take_more():
    held = span(creep_mm_per_s=0.01)
    held.later_mm.append((20.0, 0.2))
    still = span()

    gone = still.force_n(23.0) - held.force_n(23.0)

    ratio = held.n_per_mm / held.clamp.stiffness_n_per_mm
    assert gone == pytest.approx(held.n_per_mm * (0.2 + 0.01 * 10.0) / (1 + ratio), rel=1e-6)
    assert held.force_n(19.9) > held.force_n(20.1)


def test_what_flows_in_at_a_release_stays():
    held = span(slip_mm=1.0)
    before = held.force_n(20.0)

    held.gain(7.0)

    assert held.force_n(20.0) == pytest.approx(before + 7.0)


def test_a_span_never_pushes():
    assert span(slip_mm=100.0).force_n(14.0) == 0.0
    assert span(slip_mm=100.0).history_n(np.zeros(100)).min() == 0.0


def test_slip_grows_with_use_and_force_until_the_jaws_are_cleaned():
    clamp = Clamp(name="A", slip_mm=0.2, wear_mm_per_use=0.01, creep_mm_per_s=0.1)

    assert clamp.used(50).typical_slip_mm(250.0) == pytest.approx(0.7)
    assert clamp.used(50).typical_slip_mm(125.0) == pytest.approx(0.35)
    assert clamp.used(50).cleaned().typical_slip_mm(250.0) == 0.2
    assert clamp.cleaned().creep_mm_per_s == 0.0


def test_slips_scatter_around_the_typical_one():
    rng = stream(4, "slips")
    clamp = Clamp(name="A", slip_mm=0.5, scatter=0.3)

    slips = [clamp.take_over(rng, force_n=250.0) for _ in range(2000)]

    assert np.median(slips) == pytest.approx(0.5, rel=0.05)
    assert np.std(np.log(slips)) == pytest.approx(0.3, rel=0.1)


def test_stick_slips_come_in_order_and_as_often_as_said():
    clamp = Clamp(name="A", steps_per_s=0.5)
    rng = stream(5, "steps")

    runs = [clamp.stick_slips_mm(rng, seconds=20.0) for _ in range(200)]

    assert np.mean([len(run) for run in runs]) == pytest.approx(10.0, rel=0.1)
    assert all(run == sorted(run) for run in runs)


@given(seed=st.integers(0, 5000))
@settings(max_examples=40, deadline=None)
def test_a_drawn_clamp_is_sound(seed: int):
    clamp = draw_clamp(stream(seed, "clamp"), "A")

    assert 150.0 <= clamp.stiffness_n_per_mm <= 250.0
    assert clamp.typical_slip_mm(250.0) < 0.3
    assert clamp.truth()["flex_mm_at_250N"] == pytest.approx(250.0 / clamp.stiffness_n_per_mm)
