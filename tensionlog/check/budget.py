"""From levels to errors: zero taken out as it wandered, and what is then still in doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tensionlog.check.cleaning import Floats
from tensionlog.check.visits import Visit
from tensionlog.check.wander import loads_above_zero

U_CREEP_PCT: Final = 0.005
"""What a cell creeps while a mass is hung and read, one standard uncertainty, per cent of
load: a fifth of the 0.0245 % that OIML R 60 allows a class C3 cell in half an hour (from
memory). Two hundred seconds of a walking zero would be needed to see it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """The errors at the loads, and their covariance by cause.

    Attributes:
        zero_n: Empty level at the beginning.
        u_zero_n: Its standard uncertainty.
        added_n: What each load adds to zero as it then stood, shape (n,).
        reading_n: Levels at the loads, as they stood, shape (n,).
        error_n: Level less zero less reference, shape (n,).
        reference_n: Reference forces, shape (n,).
        by_cause: Name of a cause to the covariance it gives the errors, shape (n, n).
        wander: Rate of the zero's walk, newtons per root second.
        zeros: How many times the cell was empty.
    """

    zero_n: float
    u_zero_n: float
    added_n: Floats
    reading_n: Floats
    error_n: Floats
    reference_n: Floats
    by_cause: Mapping[str, Floats]
    wander: float
    zeros: int

    @property
    def covariance_n2(self) -> Floats:
        """Covariance of the errors from all causes, shape (n, n)."""
        total: Floats = np.sum(list(self.by_cause.values()), axis=0)
        return total

    @property
    def u_n(self) -> Floats:
        """Standard uncertainty of each error, shape (n,)."""
        return np.sqrt(np.diag(self.covariance_n2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Slope of the errors against the reference.

    Attributes:
        error_pct: Slope of reading against reference less one, per cent.
        u_pct: Its standard uncertainty.
        by_cause_pct: What each cause gives of it.
        off_line_n: Error less the fitted line at each load, shape (n,).
    """

    error_pct: float
    u_pct: float
    by_cause_pct: Mapping[str, float]
    off_line_n: Floats


def errors_at_loads(
    *,
    visits: Sequence[Visit],
    reference_n: Floats,
    reference_covariance_n2: Floats,
    step_n: float,
) -> Errors:
    """Errors at the loaded visits against the zeros around them.

    Args:
        visits: Stable ones only, at least one empty and one loaded.
        reference_n: Reference force of each loaded visit, shape (n,).
        reference_covariance_n2: Their covariance, shape (n, n).
        step_n: Resolution of the reading that its noise does not smear, else 0.
    """
    read = [(v.level, v.load.is_empty) for v in visits if v.level is not None]
    zeros = [level for level, empty in read if empty]
    levels = [level for level, empty in read if not empty]
    loads = loads_above_zero([level for level, _ in read], [empty for _, empty in read])
    reading = np.array([level.level for level in levels])
    return Errors(
        zero_n=zeros[0].level,
        u_zero_n=zeros[0].u,
        added_n=loads.added_n,
        reading_n=reading,
        error_n=loads.added_n - reference_n,
        reference_n=reference_n,
        by_cause={
            "reading": loads.from_reading,
            "zero wander": loads.from_walk,
            "reference": reference_covariance_n2,
            "creep": (U_CREEP_PCT / 100) ** 2 * np.outer(reference_n, reference_n),
            "resolution": step_n**2 / 12 * (np.eye(len(levels)) + 1.0),
        },
        wander=loads.rate,
        zeros=len(zeros),
    )


def span_of(errors: Errors) -> Span:
    """Least-squares slope through the loads and the zeros, with its uncertainty.

    The zeros count as points, so a cell whose line bows is given the slope of the chord
    through its range and not that through its middle.
    """
    reference = errors.reference_n
    mean = reference.sum() / (len(reference) + errors.zeros)
    square = ((reference - mean) ** 2).sum() + errors.zeros * mean**2
    weights = (reference - mean) / square
    slope = float(weights @ errors.error_n)
    offset = (errors.error_n.sum() - slope * reference.sum()) / (len(reference) + errors.zeros)
    off_line = errors.error_n - offset - slope * reference
    variances = {
        name: max(0.0, float(weights @ cov @ weights)) for name, cov in errors.by_cause.items()
    }
    # a bow is smooth, its two halves tilt the line opposite ways: half of it counts
    variances["bow"] = _bow_variance(errors, off_line) * float(weights @ weights) / 4
    return Span(
        error_pct=100 * slope,
        u_pct=100 * float(np.sqrt(sum(variances.values()))),
        by_cause_pct={name: 100 * float(np.sqrt(v)) for name, v in variances.items()},
        off_line_n=off_line,
    )


def _bow_variance(errors: Errors, off_line_n: Floats) -> float:
    """Variance by which the points lie off one line beyond what their own doubt explains.

    A cell that bows or lags has no one slope; what it is off counts against the slope.
    """
    freedoms = len(np.unique(errors.reference_n.round(3))) - 1
    if freedoms < 1:
        return 0.0
    own = errors.by_cause["reading"] + errors.by_cause["zero wander"]
    expected = float(np.trace(own)) * freedoms / len(off_line_n)
    return max(0.0, float(off_line_n @ off_line_n) - expected) / freedoms
