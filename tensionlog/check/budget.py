"""From levels to errors: zero taken out as it wandered, and what is then still in doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tensionlog.check.cleaning import Floats
from tensionlog.check.settling import Level
from tensionlog.check.visits import Visit
from tensionlog.check.wander import walk_covariance, wander_rate, zero_weights


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """The errors at the loads, and their covariance by cause.

    Attributes:
        zero_n: Empty level at the beginning.
        u_zero_n: Its standard uncertainty.
        zero_then_n: Zero as it stood at each load, shape (n,).
        reading_n: Levels at the loads, as they stood, shape (n,).
        error_n: Level less zero less reference, shape (n,).
        reference_n: Reference forces, shape (n,).
        by_cause: Name of a cause to the covariance it gives the errors, shape (n, n).
        wander: Rate of the zero's walk, newtons per root second.
        zeros: How many times the cell was empty.
    """

    zero_n: float
    u_zero_n: float
    zero_then_n: Floats
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
    *, visits: Sequence[Visit], reference_n: Floats, reference_covariance_n2: Floats
) -> Errors:
    """Errors at the loaded visits against the zeros around them.

    Args:
        visits: Stable ones only, at least one empty and one loaded.
        reference_n: Reference force of each loaded visit, shape (n,).
        reference_covariance_n2: Their covariance, shape (n, n).
    """
    levels = [v.level for v in visits if v.level is not None]
    zeros = [v.level for v in visits if v.level is not None and v.load.is_empty]
    loaded = [v.level for v in visits if v.level is not None and not v.load.is_empty]
    rate = wander_rate(zeros, levels)
    weights = zero_weights(zeros, loaded, rate)
    zero_then = weights @ np.array([z.level for z in zeros])
    reading = np.array([level.level for level in loaded])
    # errors as a linear map of all levels: each load's own, less its share of the zeros
    mapping = np.hstack([-weights, np.eye(len(loaded))])
    together: list[Level] = [*zeros, *loaded]
    noise = np.diag([level.u**2 for level in together])
    return Errors(
        zero_n=zeros[0].level,
        u_zero_n=zeros[0].u,
        zero_then_n=zero_then,
        reading_n=reading,
        error_n=reading - zero_then - reference_n,
        reference_n=reference_n,
        by_cause={
            "reading": mapping @ noise @ mapping.T,
            "zero wander": mapping @ (rate**2 * walk_covariance(together)) @ mapping.T,
            "reference": reference_covariance_n2,
        },
        wander=rate,
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
    by_cause = {
        name: 100 * float(np.sqrt(max(0.0, weights @ cov @ weights)))
        for name, cov in errors.by_cause.items()
    }
    return Span(
        error_pct=100 * slope,
        u_pct=float(np.sqrt(sum(u**2 for u in by_cause.values()))),
        by_cause_pct=by_cause,
        off_line_n=errors.error_n - offset - slope * reference,
    )
