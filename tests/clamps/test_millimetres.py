"""Draw-in against a worked example of the prestressing trade, and its own laws."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.millimetres import millimetres, why_no_millimetres

POSITIVE = st.floats(0.01, 1e4)


def test_anchorage_draw_in_of_a_straight_tendon():
    """Δσ = E·Δ/L: 6 mm on 30 m at 195 GPa loses 39 MPa (from memory, a textbook case).

    As force: a strand of 140 mm², EA = 27.3 MN, loses 5.46 kN.
    """
    length = millimetres(
        force_n=5460.0, u_n=0.0, span_m=30.0, ea_n=195e9 * 140e-6, u_ea_pct=0.0
    )
    assert length.mm == pytest.approx(6.0)
    assert 195e3 * length.mm / 30e3 == pytest.approx(39.0)


@given(POSITIVE, POSITIVE, POSITIVE, st.floats(0.0, 50.0))
def test_a_stiffness_error_scales_the_length(force_n, span_m, ea_n, u_ea_pct):
    length = millimetres(force_n=force_n, u_n=0.0, span_m=span_m, ea_n=ea_n, u_ea_pct=u_ea_pct)
    assert length.u == pytest.approx(length.mm * u_ea_pct / 100.0)


@pytest.mark.parametrize(
    ("span_m", "ea_n", "unit", "word"),
    [
        (None, 1.0, "N", "span"),
        (0.0, 1.0, "N", "span"),
        (1.0, None, "N", "stiffness"),
        (1.0, 1.0, "counts", "calibration"),
    ],
)
def test_what_is_missing_is_named(span_m, ea_n, unit, word):
    assert word in why_no_millimetres(span_m=span_m, ea_n=ea_n, unit=unit)


def test_nothing_is_missing():
    assert why_no_millimetres(span_m=0.5, ea_n=5000.0) is None
