"""Calibration fits: laws first, then numbers from outside.

Sources:
    NIST Statistical Reference Datasets, linear least squares (public domain): "Pontius"
    (load cell calibration), "Filip" (degree 10, the hardest of the set), "Wampler1",
    "Wampler2" and "Wampler3" (degree 5).
    JCGM 100:2008 (the GUM), example H.3: calibration of a thermometer.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.errors import CalibrationError
from tensionlog.stats.fits import f_test, fit_line, fit_polynomial, fit_proportional

PUBLISHED = Path(__file__).with_name("published")
LOAD, DEFLECTION = np.loadtxt(PUBLISHED / "strd_pontius.csv", delimiter=",", skiprows=1).T
FILIP_X, FILIP_Y = np.loadtxt(PUBLISHED / "strd_filip.csv", delimiter=",", skiprows=1).T
STEPS = np.arange(21.0)

COEFFICIENTS = st.lists(st.floats(-100, 100), min_size=1, max_size=4)
THIRTEEN_DIGITS = 1e-12


@given(COEFFICIENTS, st.floats(-1000, 1000), st.floats(0.1, 1e6))
def test_points_on_a_polynomial_give_it_back(coefficients, origin, scale):
    x = origin + scale * np.linspace(0, 1, 9)
    y = np.polynomial.polynomial.polyval(x - origin, coefficients)

    fit = fit_polynomial(x, y, degree=len(coefficients) - 1, origin=origin)

    assert np.abs(fit.residuals).max() <= 1e-9 * (1 + np.abs(y).max())
    assert fit.predict(origin + scale / 3).value == pytest.approx(
        np.polynomial.polynomial.polyval(scale / 3, coefficients),
        abs=1e-9 * (1 + np.abs(y).max()),
    )


@given(st.floats(1e-4, 1e4), st.floats(-1e3, 1e3), st.floats(-1, 2))
def test_reading_back_what_was_predicted_returns_the_same_force(slope, offset, share):
    x = np.linspace(0, 200, 7)
    y = offset + slope * (x + 1e-4 * x**2)
    fit = fit_polynomial(x, y, degree=2)
    at = 200 * share

    back = fit.read_back(fit.predict(at).value)

    assert back.value == pytest.approx(at, abs=1e-5)


@given(st.integers(0, 2**31))
@settings(max_examples=25)
def test_a_point_taken_twice_is_a_point_with_twice_the_weight(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 10, 6), rng.normal(size=6)

    twice = fit_line([*x, x[0]], [*y, y[0]])
    heavy = fit_line(x, y, weights=[2, 1, 1, 1, 1, 1])

    assert heavy.coefficients == pytest.approx(twice.coefficients, rel=1e-9, abs=1e-9)


def test_known_uncertainties_set_the_covariance_whatever_the_scatter():
    x = np.linspace(0, 10, 11)
    smooth, rough = 2 * x, 2 * x + 50 * (-1) ** np.arange(11)

    fits = [fit_line(x, y, u_y=np.full(11, 0.1)) for y in (smooth, rough)]

    assert fits[0].covariance == pytest.approx(fits[1].covariance)
    # textbook: u(slope) = u / sqrt(sum of squares about the mean), here 110
    assert fits[0].standard_errors[1] == pytest.approx(0.1 / np.sqrt(110))


def test_stated_uncertainties_cover_the_truth_as_often_as_they_should():
    rng = np.random.default_rng(20260302)
    x = np.linspace(20, 200, 10)
    misses = [
        fit_line(x, 5 + 3 * x + rng.normal(0, 0.5, 10)).read_back(305 + rng.normal(0, 0.5))
        for _ in range(1000)
    ]

    scores = np.array([(m.value - 100) / m.u for m in misses])

    # Student's t with 8 freedoms lies within 2 in 92.0 % (from memory, scipy agrees)
    assert np.mean(np.abs(scores) < 2) == pytest.approx(0.920, abs=0.025)


PONTIUS = {
    "coefficients": [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14],
    "standard_errors": [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16],
    "residual_sd": 0.205177424076185e-03,
    "r_squared": 0.999999900178537,
}


@pytest.mark.parametrize("name", PONTIUS)
def test_pontius_to_twelve_digits(name):
    fit = fit_polynomial(LOAD, DEFLECTION, degree=2)

    assert getattr(fit, name) == pytest.approx(PONTIUS[name], rel=THIRTEEN_DIGITS)


def test_pontius_lower_limit_factor_and_the_wrong_model():
    """The line's figures were worked out independently."""
    quadratic = fit_polynomial(LOAD, DEFLECTION, degree=2)
    line = fit_line(LOAD, DEFLECTION)

    assert quadratic.lower_limit_factor == pytest.approx(0.492426e-03, rel=1e-6)
    assert line.coefficients == pytest.approx([0.614968e-02, 0.722103e-06], rel=1e-6)
    assert line.residual_sd == pytest.approx(0.0021713, rel=2e-5)


def test_an_f_test_asks_for_the_quadratic_of_pontius_and_not_for_a_cubic():
    line, square, cube = (fit_polynomial(LOAD, DEFLECTION, degree=d) for d in (1, 2, 3))

    assert f_test(line, square).p < 1e-30
    assert f_test(square, cube).p > 0.05


def test_filip_to_twelve_digits():
    fit = fit_polynomial(FILIP_X, FILIP_Y, degree=10)

    certified = {
        0: (-1467.48961422980, 298.084530995537),
        1: (-2772.17959193342, 559.779865474950),
        2: (-2316.37108160893, 466.477572127796),
        5: (-75.1242017393757, 15.2897178747400),
        9: (-0.246781078275479e-02, 0.535617408889821e-03),
        10: (-0.402962525080404e-04, 0.896632837373868e-05),
    }
    for power, (coefficient, error) in certified.items():
        assert fit.coefficients[power] == pytest.approx(coefficient, rel=THIRTEEN_DIGITS)
        assert fit.standard_errors[power] == pytest.approx(error, rel=THIRTEEN_DIGITS)
    assert fit.residual_sd**2 == pytest.approx(0.112091743968020e-04, rel=THIRTEEN_DIGITS)
    assert fit.r_squared == pytest.approx(0.996727416185620, rel=THIRTEEN_DIGITS)


@pytest.mark.parametrize("base", [1.0, 0.1], ids=["Wampler1", "Wampler2"])
def test_wampler_exact_polynomials(base):
    y = sum((base * STEPS) ** power for power in range(6))

    fit = fit_polynomial(STEPS, y, degree=5)

    assert fit.coefficients == pytest.approx(base ** np.arange(6.0), rel=1e-9)


def test_wampler3_standard_errors():
    y = [760, -2042, 2111, -1684, 3888, 1858, 11379, 17560, 39287, 64382, 113159, 175108]
    y += [273291, 400186, 581243, 811568, 1121004, 1506550, 2002767, 2611612, 3369180]

    fit = fit_polynomial(STEPS, y, degree=5)

    assert fit.coefficients == pytest.approx(np.ones(6), rel=1e-9)
    assert fit.standard_errors[[0, 5]] == pytest.approx(
        [2152.32624678170, 0.112324854679312], rel=THIRTEEN_DIGITS
    )


def test_gum_thermometer_line():
    t_c = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010]
    b_c = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161]

    fit = fit_line([*t_c, 26.511], [*b_c, -0.160], origin=20.0)

    assert fit.coefficients.round(4) == pytest.approx([-0.1712, 0.0022])
    assert fit.slope == pytest.approx(0.00218, abs=5e-6)
    assert fit.standard_errors == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert fit.correlation[0, 1] == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_sd == pytest.approx(0.0035, abs=5e-5)
    at_30 = fit.predict(30.0)
    assert at_30.value == pytest.approx(-0.1494, abs=5e-5)
    assert at_30.u == pytest.approx(0.0041, abs=5e-5)


def test_a_proportional_fit_is_the_ratio_of_sums():
    fit = fit_proportional([1, 2, 4], [2.1, 3.9, 8.1])

    assert fit.slope == pytest.approx((2.1 + 7.8 + 32.4) / 21)
    assert fit.predict(0.0).u == 0.0
    assert fit.read_back(4.0).value == pytest.approx(4 / fit.slope)


@pytest.mark.parametrize(
    ("x", "degree", "said"),
    [([1.0, 1.0, 1.0], 1, "2 different loads, not 1"), ([0.0, 1.0], 2, "3 different loads")],
)
def test_too_few_different_loads_are_refused_with_their_number(x, degree, said):
    with pytest.raises(CalibrationError, match=said):
        fit_polynomial(x, x, degree=degree)


def test_a_point_that_is_not_a_number_is_refused():
    with pytest.raises(CalibrationError, match="finite"):
        fit_line([0, 1, np.nan], [0, 1, 2])


def test_a_reading_far_outside_the_calibration_is_refused():
    fit = fit_line([0, 100, 200], [0, 1000, 2010])

    with pytest.raises(CalibrationError, match="1e\\+06"):
        fit.read_back(1e6)


@pytest.mark.parametrize("weights", [[1, 1], [1, 1, -1], [1, 1, np.inf]])
def test_weights_that_cannot_be_are_refused(weights):
    with pytest.raises(CalibrationError, match="3 weights"):
        fit_line([0, 1, 2], [0, 1, 2], weights=weights)


def test_weights_and_uncertainties_together_are_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="not both"):
        fit_line([0, 1, 2], [0, 1, 2], weights=[1, 1, 1], u_y=[1, 1, 1])


def test_an_f_test_without_freedom_is_refused():
    line, square = (fit_polynomial([0, 1, 2], [0, 1, 5], degree=d) for d in (1, 2))

    with pytest.raises(CalibrationError, match="3 points"):
        f_test(line, square)


def test_shapes_that_differ_are_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="one shape"):
        fit_line([0, 1], [0, 1, 2])


def test_a_fit_without_freedom_has_no_residual_deviation():
    fit = fit_line([0, 1], [0, 1])

    assert np.isnan(fit.residual_sd)
    assert fit.freedoms == 0
    assert fit.degree == 1
    assert fit.intercept == pytest.approx(0, abs=1e-12)


def test_a_proportional_fit_to_zeros_is_refused():
    with pytest.raises(CalibrationError, match="every x is zero"):
        fit_proportional([0, 0], [1, 2])
