"""Polynomial calibration fits by least squares, with everything a reader must know of them.

Powers of counts or newtons spread over twenty decades: the fit is made in a centred, scaled
variable by QR and one refinement in extended precision, and only then carried back.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.errors import CalibrationError
from tensionlog.stats.powers import least_squares, middle_and_half, moved, to_origin

Floats = NDArray[np.float64]

LOWER_LIMIT_FACTOR: Final = 2.4
"""ASTM E74: the lower limit factor of a calibration is 2.4 residual deviations."""


class Estimate(NamedTuple):
    """A number with one standard uncertainty."""

    value: float
    u: float


class FTest(NamedTuple):
    """Whether the further coefficients of a larger fit earn their place.

    Attributes:
        f: Fall of the misfit per coefficient over the misfit left per freedom.
        p: Chance of as large an `f` if they are all zero.
        freedoms: (coefficients added, freedoms left).
    """

    f: float
    p: float
    freedoms: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class PolynomialFit:
    """y = sum of coefficient[k] * (x - origin)**k, by least squares.

    Attributes:
        coefficients: Rising powers, shape (degree + 1,).
        covariance: Of the coefficients, shape (degree + 1, degree + 1).
        residuals: y less the fit, in the order of the points, shape (n,).
        residual_sd: Standard deviation of one (unit-weight) residual; NaN where no
            freedom is left.
        freedoms: Points less coefficients.
        r_squared: Share of the variation about the mean that the fit explains.
        origin: Where the powers of x begin.
        x_low: Least x fitted.
        x_high: Greatest x fitted.
    """

    coefficients: Floats
    covariance: Floats
    residuals: Floats
    residual_sd: float
    freedoms: int
    r_squared: float
    origin: float
    x_low: float
    x_high: float

    @property
    def degree(self) -> int:
        """Highest power of x."""
        return len(self.coefficients) - 1

    @property
    def intercept(self) -> float:
        """The coefficient without x."""
        return float(self.coefficients[0])

    @property
    def slope(self) -> float:
        """The coefficient of x; of a straight line, its slope."""
        return float(self.coefficients[1])

    @property
    def standard_errors(self) -> Floats:
        """Standard uncertainties of the coefficients, shape (degree + 1,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> Floats:
        """Correlations of the coefficients, shape (degree + 1, degree + 1)."""
        u = self.standard_errors
        return np.asarray(self.covariance / np.outer(u, u), dtype=np.float64)

    @property
    def lower_limit_factor(self) -> float:
        """2.4 residual deviations, in the unit of y (vocabulary of ASTM E74)."""
        return LOWER_LIMIT_FACTOR * self.residual_sd

    def predict(self, x: float) -> Estimate:
        """The fitted curve at `x`; its doubt is that of the curve, not of one reading."""
        powers = (x - self.origin) ** np.arange(self.degree + 1)
        variance = float(powers @ self.covariance @ powers)
        return Estimate(float(powers @ self.coefficients), sqrt(max(0.0, variance)))

    def slope_at(self, x: float) -> float:
        """First derivative of the fitted curve at `x`."""
        k = np.arange(1, self.degree + 1)
        return float(np.sum(k * self.coefficients[1:] * (x - self.origin) ** (k - 1)))

    def read_back(self, y: float, *, u_y: float | None = None, readings: int = 1) -> Estimate:
        """The x at which `y` was read (the calibration's inverse), with its uncertainty.

        Args:
            y: One reading, or the mean of several.
            u_y: Its own standard uncertainty; by default the residual standard deviation
                over the root of `readings`.
            readings: How many readings `y` is the mean of.

        Raises:
            CalibrationError: The curve does not reach `y` within three ranges of the middle
                of what was fitted.
        """
        x = self._nearest_root(y)
        own = self.residual_sd / np.sqrt(readings) if u_y is None else u_y
        return Estimate(x, float(np.hypot(own, self.predict(x).u) / abs(self.slope_at(x))))

    def _nearest_root(self, y: float) -> float:
        """The root nearest to the middle of the range; only where the curve has a slope."""
        low, high = self.x_low, self.x_high
        scale = max(high - low, 1e-300)
        shifted = moved(self.coefficients, (low + high) / 2 - self.origin, scale)
        shifted[0] -= y
        roots = np.roots(shifted[::-1])
        real = roots[np.abs(roots.imag) <= 1e-9 * (1 + np.abs(roots.real))].real
        real = real[np.abs(real) <= 3.0]
        if not len(real):
            raise CalibrationError(
                f"the calibration never reads {y:g} within reach of the "
                f"{low:g} to {high:g} it was made over. Is this the right calibration?"
            )
        return float((low + high) / 2 + scale * real[np.argmin(np.abs(real))])


def fit_polynomial(
    x: ArrayLike,
    y: ArrayLike,
    *,
    degree: int,
    origin: float = 0.0,
    weights: ArrayLike | None = None,
    u_y: ArrayLike | None = None,
) -> PolynomialFit:
    """Fit a polynomial by (weighted) least squares.

    Args:
        x: Known values, shape (n,).
        y: Responses, shape (n,).
        degree: Highest power, 0 or more.
        origin: Where the powers of x begin: y = a + b (x - origin) + …
        weights: Relative weights, shape (n,), in proportion to one over the variance;
            the scatter itself then sets the uncertainties.
        u_y: Known standard uncertainties of y, shape (n,), in place of `weights`; the
            uncertainties then follow from them alone, however large the scatter.

    Raises:
        CalibrationError: Too few points, or too few different x, or not finite.

    >>> fit_polynomial([0, 1, 2, 3], [1, 2, 5, 10], degree=2).coefficients.round(12) + 0.0
    array([1., 0., 1.])
    """
    x_, y_ = _points(x, y, degree)
    root = _root_weights(len(x_), weights, u_y)
    middle, half = middle_and_half(x_)
    powers = ((x_ - middle) / half)[:, None] ** np.arange(degree + 1)
    scaled, factor = least_squares(powers, y_, root)
    residuals = y_ - powers @ scaled
    freedoms = len(x_) - degree - 1
    misfit = float(np.sum((root * residuals) ** 2))
    sd = np.sqrt(misfit / freedoms) if freedoms else float("nan")
    back = to_origin(degree, middle - origin, half)
    spread = np.linalg.solve(factor, np.eye(degree + 1))
    reach = back @ spread * (1.0 if u_y is not None else sd)
    return PolynomialFit(
        coefficients=back @ scaled,
        covariance=reach @ reach.T,
        residuals=residuals,
        residual_sd=float(sd),
        freedoms=freedoms,
        r_squared=_r_squared(y_, root, misfit),
        origin=origin,
        x_low=float(x_.min()),
        x_high=float(x_.max()),
    )


def fit_line(
    x: ArrayLike,
    y: ArrayLike,
    *,
    origin: float = 0.0,
    weights: ArrayLike | None = None,
    u_y: ArrayLike | None = None,
) -> PolynomialFit:
    """Fit a straight line: `fit_polynomial` of degree 1.

    >>> round(fit_line([0, 1, 2, 3], [1, 3, 5, 7]).slope, 12)
    2.0
    """
    return fit_polynomial(x, y, degree=1, origin=origin, weights=weights, u_y=u_y)


def fit_proportional(
    x: ArrayLike, y: ArrayLike, *, weights: ArrayLike | None = None
) -> PolynomialFit:
    """Fit y = slope * x, the line held at zero.

    `r_squared` is then taken about zero, as is usual without an intercept.

    Raises:
        CalibrationError: As `fit_polynomial`, or every x is zero.

    >>> fit_proportional([1, 2, 3], [2, 4, 6]).slope
    2.0
    """
    x_, y_ = _points(x, y, 0)
    weight = _root_weights(len(x_), weights, None) ** 2
    if (square := float(weight @ x_**2)) == 0:
        raise CalibrationError("every x is zero: no slope can be fitted. Add a load.")
    slope = float(weight @ (x_ * y_)) / square
    residuals = y_ - slope * x_
    misfit, freedoms = float(weight @ residuals**2), len(x_) - 1
    variance = misfit / freedoms if freedoms else float("nan")
    return PolynomialFit(
        coefficients=np.array([0.0, slope]),
        covariance=np.diag([0.0, variance / square]),
        residuals=residuals,
        residual_sd=float(np.sqrt(variance)),
        freedoms=freedoms,
        r_squared=1 - misfit / float(weight @ y_**2),
        origin=0.0,
        x_low=float(x_.min()),
        x_high=float(x_.max()),
    )


def f_test(smaller: PolynomialFit, larger: PolynomialFit) -> FTest:
    """Compare two fits to the same points, the smaller nested in the larger.

    Raises:
        CalibrationError: No freedom is left to judge by, or the fits are not nested.
    """
    from scipy.stats import f as f_distribution

    added, left = larger.degree - smaller.degree, larger.freedoms
    if added < 1 or left < 1 or len(smaller.residuals) != len(larger.residuals):
        raise CalibrationError(
            f"degree {larger.degree} cannot be judged against {smaller.degree} on "
            f"{len(larger.residuals)} points. Take more points."
        )
    before = smaller.residual_sd**2 * smaller.freedoms
    after = larger.residual_sd**2 * left
    f = (before - after) / added / (after / left) if after > 0 else float("inf")
    return FTest(float(f), float(f_distribution.sf(f, added, left)), (added, left))


def _points(x: ArrayLike, y: ArrayLike, degree: int) -> tuple[Floats, Floats]:
    x_ = np.asarray(x, dtype=np.float64)
    y_ = np.asarray(y, dtype=np.float64)
    if x_.ndim != 1 or x_.shape != y_.shape:
        raise ValueError(f"x and y must have one shape (n,), not {x_.shape} and {y_.shape}")
    if not (np.isfinite(x_).all() and np.isfinite(y_).all()):
        raise CalibrationError("a point of the fit is not a finite number. Leave it out.")
    different = len(np.unique(x_))
    if different < degree + 1:
        raise CalibrationError(
            f"a fit of degree {degree} needs {degree + 1} different loads, not {different} "
            f"({len(x_)} points). Hang another reference."
        )
    return x_, y_


def _root_weights(n: int, weights: ArrayLike | None, u_y: ArrayLike | None) -> Floats:
    if weights is not None and u_y is not None:
        raise ValueError("give weights or u_y, not both")
    if u_y is not None:
        weight = 1 / np.asarray(u_y, dtype=np.float64) ** 2
    else:
        weight = np.ones(n) if weights is None else np.asarray(weights, dtype=np.float64)
    if weight.shape != (n,) or not (np.isfinite(weight).all() and (weight > 0).all()):
        raise CalibrationError(f"{n} points need {n} weights, all finite and above zero.")
    return np.sqrt(weight)


def _r_squared(y: Floats, root: Floats, misfit: float) -> float:
    mean = np.average(y, weights=root**2)
    about_mean = float(np.sum((root * (y - mean)) ** 2))
    return 1 - misfit / about_mean if about_mean > 0 else float("nan")
