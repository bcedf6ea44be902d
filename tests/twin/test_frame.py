"""Span lengths as the ticket has them, and what an opening clamp does by friction."""

from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin.frame import chord_m, draw_friction, open_clamp, span_m
from tensionlog.twin.rng import stream

forces = st.floats(20.0, 320.0)
lengths = st.floats(0.05, 0.9)
shares = st.floats(0.05, 1.0)


def test_spans_are_the_chords_of_an_ellipse_kept_off_the_tip():
    """X = ((i + ½)/n · 2 − 1) · 0.93, span = length along · √max(1 − x², 0.05)."""
    x = ((3 + 0.5) / 19 * 2 - 1) * 0.93

    assert chord_m(index=3, strings_across=19, along_m=0.26) == 0.26 * sqrt(1 - x * x)
    assert chord_m(index=0, strings_across=400, along_m=1.0) < 0.4
    assert chord_m(index=0, strings_across=10**6, along_m=1.0) >= sqrt(0.05)


@given(mains=st.integers(2, 24))
@settings(max_examples=40, deadline=None)
def test_the_bed_is_even_about_its_middle_and_an_odd_main_is_right(mains: int):
    size = {"mains": mains, "crosses": 20, "long_m": 0.33, "wide_m": 0.25}
    half = mains // 2

    if mains % 2 == 0:
        assert span_m(f"L{half}", **size) == pytest.approx(span_m(f"R{half}", **size))
    else:
        assert span_m("R1", **size) == pytest.approx(0.33)
        assert span_m(f"R{half + 1}", **size) == pytest.approx(span_m(f"L{half}", **size))


def test_crosses_are_counted_in_the_order_pulled():
    size = {"mains": 16, "crosses": 19, "long_m": 0.33, "wide_m": 0.25}

    assert span_m("X10", **size) == 0.25
    assert span_m("X1", **size) == pytest.approx(span_m("X19", **size))


@given(head=forces, held=forces, head_m=lengths, held_m=lengths, phi=shares)
@settings(max_examples=40, deadline=None)
def test_no_string_is_made_or_lost(
    head: float, held: float, head_m: float, held_m: float, phi: float
):
    step = open_clamp(head_n=head, held_n=held, head_m=head_m, held_m=held_m, phi=phi)

    assert step.drop_n * head_m == pytest.approx((step.held_n - held) * held_m, abs=1e-9)


@given(head=forces, held=forces, head_m=lengths, held_m=lengths, phi=shares)
@settings(max_examples=40, deadline=None)
def test_afterwards_friction_can_hold_the_difference(
    head: float, held: float, head_m: float, held_m: float, phi: float
):
    step = open_clamp(head_n=head, held_n=held, head_m=head_m, held_m=held_m, phi=phi)
    now = head - step.drop_n

    assert step.held_n >= phi * now - 1e-6
    assert now >= phi * step.held_n - 1e-6


@given(head=forces, lost=st.floats(0.0, 1.0), phi=shares)
@settings(max_examples=40, deadline=None)
def test_the_head_is_blind_to_a_loss_inside_the_dead_band(head: float, lost: float, phi: float):
    held = head * (1 - lost * (1 - phi))

    step = open_clamp(head_n=head, held_n=held, head_m=0.7, held_m=0.33, phi=phi)

    assert step.drop_n == pytest.approx(0.0, abs=1e-9)


@given(head=forces, share=st.floats(0.1, 0.95), head_m=lengths, held_m=lengths, phi=shares)
@settings(max_examples=40, deadline=None)
def test_the_step_read_backwards_gives_what_was_held(
    head: float, share: float, head_m: float, held_m: float, phi: float
):
    """T_h = φ·T₁ − drop·(L₂/L_b + φ)."""
    held = share * phi * head

    step = open_clamp(head_n=head, held_n=held, head_m=head_m, held_m=held_m, phi=phi)

    assert phi * head - step.drop_n * (head_m / held_m + phi) == pytest.approx(held)


@given(head=forces, share=st.floats(0.1, 0.99), tail=st.floats(0.2, 0.5), held_m=lengths)
@settings(max_examples=40, deadline=None)
def test_a_lift_off_without_friction_reads_as_the_lift_off_formula(
    head: float, share: float, tail: float, held_m: float
):
    """T_h = T₁ − drop·(L_b + D)/L_b."""
    step = open_clamp(head_n=head, held_n=share * head, head_m=tail, held_m=held_m, phi=1.0)

    assert head - step.drop_n * (held_m + tail) / held_m == pytest.approx(share * head)


@given(seed=st.integers(0, 5000))
@settings(max_examples=40, deadline=None)
def test_shaking_lets_more_through_than_rest_and_never_everything(seed: int):
    rng = stream(seed, "friction")
    friction = draw_friction(rng)

    phi = friction.at_release(rng, is_cross=False, same_string=False)
    weave = friction.at_release(rng, is_cross=True, same_string=False)

    assert friction.rest <= phi <= 0.965
    assert 0.0 < weave < 0.95
