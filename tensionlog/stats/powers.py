"""Powers of a variable that has been centred and scaled, so that they stay near one."""

from math import comb

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def middle_and_half(x: Floats) -> tuple[float, float]:
    """Middle of a range and half its width; the width of a single point counts as two."""
    low, high = float(x.min()), float(x.max())
    return (low + high) / 2, (high - low) / 2 or 1.0


def least_squares(powers: Floats, y: Floats, root: Floats) -> tuple[Floats, Floats]:
    """Coefficients by QR and one refinement, and the triangular factor R."""
    q, factor = np.linalg.qr(root[:, None] * powers)
    scaled = np.linalg.solve(factor, q.T @ (root * y))
    long = np.longdouble
    left = np.asarray(root.astype(long) * (y.astype(long) - powers.astype(long) @ scaled))
    return scaled + np.linalg.solve(factor, q.T @ left.astype(np.float64)), factor


def to_origin(degree: int, shift: float, half: float) -> Floats:
    """Matrix that turns coefficients of ((x - middle)/half) into those of (x - origin)."""
    back = np.zeros((degree + 1, degree + 1))
    for k in range(degree + 1):
        for j in range(k + 1):
            back[j, k] = comb(k, j) * (-shift) ** (k - j) / half**k
    return back


def moved(coefficients: Floats, shift: float, scale: float) -> Floats:
    """Coefficients in u of the same polynomial, with x = shift + scale * u."""
    shifted = np.zeros(len(coefficients))
    for k, c in enumerate(coefficients):
        for j in range(k + 1):
            shifted[j] += c * comb(k, j) * shift ** (k - j) * scale**j
    return shifted
