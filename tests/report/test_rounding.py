"""The one rule for digits: laws, then the rule's own examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.report.rounding import Reader, fixed, percent, places

uncertainties = st.floats(1e-6, 1e6)
numbers = st.floats(-1e5, 1e5)


def digits_of(u):
    """Significant digits that the rule prints of `u`."""
    return places(u) + math.floor(math.log10(round(u, places(u)))) + 1


@given(uncertainties)
def test_an_uncertainty_is_printed_with_one_or_two_digits(u):
    assert digits_of(u) in (1, 2)


@given(uncertainties)
def test_rounding_changes_an_uncertainty_by_less_than_a_sixth(u):
    # The worst case of the rule is 0.355 printed as 0.4.
    assert abs(round(u, places(u)) / u - 1) < 1 / 6


@given(st.integers(100, 999), st.integers(-5, 4))
def test_a_tenth_of_an_uncertainty_leaves_one_more_decimal(leading, power):
    u = leading * 10.0**power
    assert places(u / 10) == places(u) + 1


@given(numbers, uncertainties)
def test_a_number_ends_where_its_uncertainty_ends(number, u):
    text, _, u_text = Reader("N").pair(number, u).partition(" ± ")
    assert len(text.partition(".")[2]) == len(u_text.partition(".")[2])


@given(numbers, uncertainties)
def test_a_printed_number_lies_within_half_its_last_digit(number, u):
    printed = float(Reader("N").bare(number, u).replace("−", "-"))
    assert abs(printed - number) <= 0.5 * 10.0 ** -places(u) * (1 + 1e-9)


@pytest.mark.parametrize(
    ("value", "u", "printed"),
    [
        # Review of Particle Physics, introduction, "Rounding" (from memory).
        (0.827, 0.119, "0.83 ± 0.12"),
        (0.827, 0.367, "0.8 ± 0.4"),
        (0.827, 0.952, "0.8 ± 1.0"),
        # Both sides of the rule's edges, by hand.
        (1.0, 0.354, "1.00 ± 0.35"),
        (1.0, 0.355, "1.0 ± 0.4"),
        (1.0, 0.949, "1.0 ± 0.9"),
        (1.0, 0.950, "1.0 ± 1.0"),
        (12345.0, 1234.0, "12300 ± 1200"),
    ],
)
def test_the_rules_own_examples(value, u, printed):
    assert Reader("N").pair(value, u) == printed


def test_the_reader_chooses_the_unit_and_the_digits_follow():
    loss, u = 4.4482216152605, 0.27  # one lbf exactly (avoirdupois pound, 1959)
    assert Reader("N").full(loss, u) == "4.45 ± 0.27\u00a0N"
    assert Reader("lbf").full(loss, u) == "1.00 ± 0.06\u00a0lbf"
    assert Reader("kgf").full(loss, u) == "0.454 ± 0.028\u00a0kgf"


def test_an_order_is_printed_without_digits_nobody_ordered():
    assert Reader("kgf").order(11.5 * 9.80665) == "11.5\u00a0kgf"
    assert Reader("N").order(120.0) == "120\u00a0N"
    assert Reader("counts").order(120.0) == "120\u00a0N"  # an order is a force all the same


@pytest.mark.parametrize("u", [None, 0.0, math.nan, math.inf])
def test_without_an_uncertainty_digits_follow_half_a_newton(u):
    assert Reader("N").bare(103.456, u) == "103.5"
    assert Reader("lbf").bare(103.456, u) == "23.26"


def test_what_is_not_known_is_a_dash():
    reader = Reader("N")
    assert {reader.bare(None), reader.pair(None, 1.0), reader.full(None, None)} == {"–"}
    assert reader.pair(4.25, None) == "4.2"
    assert percent(None) == "–"


def test_counts_are_not_converted():
    assert Reader("counts").amount(84211.4, 12.0) == "84211\u00a0counts"


def test_minus_is_a_minus_and_zero_has_none():
    assert fixed(-0.04, 1) == "0.0"
    assert fixed(-3.14, 1) == "−3.1"
