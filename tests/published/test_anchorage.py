"""Anchorage draw-in, the prestressing trade's name for a clamp's give: Δσ = E·Δ/L.

Formula: common to prestressed-concrete textbooks and codes (for instance Nilson, *Design
of Prestressed Concrete*, on slip at the anchorage), from memory. The worked numbers are
ours, in the round values such books use: wedges drawn in by 6 mm on a tendon of 25 m with
E = 195 GPa lose 195e9 · 0.006 / 25 = 46.8 MPa.
"""

import pytest

from tensionlog.pipeline.losses import force_of_give, millimetres

MODULUS_PA = 195e9
STRAND_M2 = 140e-6  # one 15.2 mm strand, from memory
TENDON_M = 25.0
DRAWN_IN_MM = 6.0
LOST_PA = 46.8e6


def test_a_tendon_loses_the_textbooks_stress():
    lost_n = force_of_give(give_mm=DRAWN_IN_MM, span_m=TENDON_M, ea_n=MODULUS_PA * STRAND_M2)

    assert lost_n / STRAND_M2 == pytest.approx(LOST_PA, rel=1e-12)


def test_the_stress_lost_tells_the_draw_in():
    give_mm = millimetres(
        force_n=LOST_PA * STRAND_M2, span_m=TENDON_M, ea_n=MODULUS_PA * STRAND_M2
    )

    assert give_mm == pytest.approx(DRAWN_IN_MM, rel=1e-12)


def test_a_short_string_loses_more_to_the_same_give():
    """Why a tendon forgives 6 mm and a string of 0.3 m at EA = 8 kN does not forgive one."""
    assert force_of_give(give_mm=1.0, span_m=0.3, ea_n=8000.0) == pytest.approx(
        26.667, abs=1e-3
    )
