"""The string's law has the form of the prestressing rule for strand.

Source: Magura, Sozen & Siess, "A study of stress relaxation in prestressing
reinforcement", PCI Journal 9 (1964), from memory: for stress-relieved strand

    f / f₀ = 1 − (lg t[h] / 10) · (f₀ / f_y − 0.55),    t ≥ 1 h, f₀ / f_y ≥ 0.55

with 45 in place of 10 for low-relaxation strand.
"""

from math import log10

import pytest

from tensionlog.pipeline.losses import relaxed


def strand(hours: float, *, share_of_yield: float, divisor: float = 10.0) -> float:
    return 1.0 - log10(hours) / divisor * (share_of_yield - 0.55)


@pytest.mark.parametrize("divisor", [10.0, 45.0])
@pytest.mark.parametrize("share_of_yield", [0.60, 0.70, 0.80])
@pytest.mark.parametrize("hours", [10.0, 100.0, 1000.0, 500_000.0])
def test_long_after_the_origin_both_lose_the_same_for_every_decade(
    hours: float, share_of_yield: float, divisor: float
):
    """With r = (f₀/f_y − 0.55)/10 a decade; at t ≫ τ, lg(1 + t/τ) runs parallel to lg t."""
    share = (share_of_yield - 0.55) / divisor
    lost = relaxed(share=share, tau_s=0.2, from_s=3600.0, to_s=3600.0 * hours)

    expected = 1.0 - strand(hours, share_of_yield=share_of_yield, divisor=divisor)
    assert lost == pytest.approx(expected, rel=1e-4)


def test_a_thousand_hours_at_seven_tenths_of_yield_lose_four_and_a_half_per_cent():
    """By hand from the rule: 3/10 · 0.15 = 0.045."""
    assert strand(1000.0, share_of_yield=0.70) == pytest.approx(0.955)


@pytest.mark.parametrize(("after_s", "lost_pct"), [(1.0, 3.1), (3.0, 4.8), (10.0, 6.8)])
def test_a_string_loses_by_hand_what_the_law_says(after_s: float, lost_pct: float):
    """4 · lg(1 + t/0.2), worked by hand: 3.11, 4.82, 6.83 per cent."""
    lost = relaxed(share=0.04, tau_s=0.2, from_s=0.0, to_s=after_s)

    assert 100.0 * lost == pytest.approx(lost_pct, abs=0.05)
