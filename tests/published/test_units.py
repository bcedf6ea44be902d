"""Forces in the units people order in, against the definitions and a published pull."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.units import (
    N_PER_KGF,
    N_PER_LBF,
    N_PER_UNIT,
    STANDARD_GRAVITY_M_S2,
    from_newtons,
    to_newtons,
)


def test_the_pound_force_is_the_pound_times_standard_gravity():
    """International pound 0.45359237 kg (agreement of 1959), g_n 9.80665 (3rd CGPM, 1901)."""
    exact = Fraction(45359237, 10**8) * Fraction(980665, 10**5)

    assert exact == Fraction(44482216152605, 10**13)
    assert float(exact) == N_PER_LBF
    assert N_PER_KGF == STANDARD_GRAVITY_M_S2 == 9.80665


def test_a_usual_pull_of_28_kilograms_is_274_newtons_and_62_pounds():
    """A usual pull of about 28 kg, given as 274 N and 62 lb.

    Source: Cross & Bower, on the string tension of tennis rackets, Sports Engineering 4
    (2001).
    """
    pull_n = to_newtons(28.0, "kgf")

    assert pull_n == pytest.approx(274.5862, rel=1e-12)
    assert round(pull_n - 0.5) == 274
    assert from_newtons(pull_n, "lbf") == pytest.approx(61.729433, abs=5e-7)
    assert round(from_newtons(pull_n, "lbf")) == 62


@given(st.floats(0.0, 1e4), st.sampled_from(sorted(N_PER_UNIT)))
def test_there_and_back_is_the_same_force(force_n: float, unit: str):
    assert to_newtons(from_newtons(force_n, unit), unit) == pytest.approx(force_n, rel=1e-14)
