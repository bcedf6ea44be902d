"""The bound on what a held string lost: algebra that must hold whatever the numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.pipeline.losses import (
    Spans,
    at_least_lost,
    dead_band,
    force_of_give,
    held_force,
    lift_off_force,
    millimetres,
    relaxed,
)

LENGTHS = st.floats(0.1, 0.4)
SPANS = st.builds(Spans, held_m=LENGTHS, pulled_m=LENGTHS, tail_m=st.floats(0.1, 0.6))
PHI = st.floats(0.3, 0.95)
TOP = st.floats(80.0, 300.0)


@given(spans=SPANS, phi=PHI, top=TOP, held=st.floats(20.0, 300.0))
def test_the_held_force_is_what_gave_the_drop(
    spans: Spans, phi: float, top: float, held: float
):
    """The page's formula, Δ = L_b·(φ·T₁ − T_h)/(L₂ + φ·L_b), and back."""
    joined_m = spans.pulled_m + spans.tail_m + phi * spans.held_m
    drop = spans.held_m * (phi * top - held) / joined_m

    assert held_force(top=top, drop=drop, phi=phi, spans=spans) == pytest.approx(held)


@given(spans=SPANS, phi=PHI, top=TOP, held=st.floats(20.0, 300.0))
def test_forces_balance_once_the_clamp_is_open(
    spans: Spans, phi: float, top: float, held: float
):
    """What the held span gained at φ of the head side is what the head side gave."""
    joined_m = spans.pulled_m + spans.tail_m + phi * spans.held_m
    drop = spans.held_m * (phi * top - held) / joined_m
    gained = phi * (top - drop) - held

    assert gained * spans.held_m == pytest.approx(drop * (spans.pulled_m + spans.tail_m))


@given(spans=SPANS, top=TOP, drop=st.floats(0.0, 30.0), phi=st.floats(0.3, 0.94))
def test_the_bound_falls_as_more_passes_round_the_frame(spans, top, drop, phi):
    """∂lost/∂φ = drop − T₁ < 0: the greatest φ gives the least loss."""
    common = {"handed_off": top, "relaxed_n": 1.0, "top": top, "drop": drop, "spans": spans}

    assert at_least_lost(phi=phi + 0.01, **common) < at_least_lost(phi=phi, **common)


@given(spans=SPANS, top=TOP, drop=st.floats(0.0, 30.0))
def test_a_lift_off_has_only_the_tail_between(spans: Spans, top: float, drop: float):
    held = lift_off_force(top=top, drop=drop, spans=spans)

    assert (top - drop - held) * spans.held_m == pytest.approx(drop * spans.tail_m, abs=1e-9)
    assert held <= top


@given(give_mm=st.floats(0.0, 5.0), span_m=LENGTHS, ea_n=st.floats(1e3, 2e4))
def test_millimetres_and_newtons_are_each_others_inverse(give_mm, span_m, ea_n):
    force_n = force_of_give(give_mm=give_mm, span_m=span_m, ea_n=ea_n)

    assert millimetres(force_n=force_n, span_m=span_m, ea_n=ea_n) == pytest.approx(give_mm)


@given(
    share=st.floats(0.01, 0.1),
    tau_s=st.floats(0.05, 1.0),
    times=st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 60.0), st.floats(0.0, 60.0)),
)
def test_relaxation_adds_up_over_neighbouring_times(share, tau_s, times):
    a, b, c = sorted(times)

    def gone(from_s: float, to_s: float) -> float:
        return relaxed(share=share, tau_s=tau_s, from_s=from_s, to_s=to_s)

    assert gone(a, c) == pytest.approx(gone(a, b) + gone(b, c), abs=1e-12)
    assert gone(a, b) >= 0.0


def test_before_the_top_nothing_has_relaxed():
    assert relaxed(share=0.04, tau_s=0.2, from_s=-3.0, to_s=-1.0) == 0.0


def test_the_dead_band_is_what_does_not_pass_round_the_frame():
    assert dead_band(top=200.0, phi=0.95) == pytest.approx(10.0)
