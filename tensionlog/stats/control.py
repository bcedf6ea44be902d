"""Control charts: individuals for the eye, EWMA and CUSUM for the alarm.

All work on any series of numbers in the order they were taken. Indices count from 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.errors import CalibrationError

Floats = NDArray[np.float64]

D2_OF_TWO: Final = 1.128
"""Mean range of two normal readings in standard deviations, as the handbooks print it
(exactly 2/sqrt(pi) = 1.12838)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IndividualsChart:
    """Single readings against limits from their moving ranges.

    Attributes:
        values: The readings, shape (n,).
        centre: Mean of the baseline.
        sigma: Standard deviation by the mean moving range of the baseline.
        mean_moving_range: Mean |difference| of neighbours in the baseline.
        upper: Upper limit.
        lower: Lower limit.
        outside: Indices of readings beyond a limit.
    """

    values: Floats
    centre: float
    sigma: float
    mean_moving_range: float
    upper: float
    lower: float
    outside: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaChart:
    """Exponentially weighted moving average against its limits.

    Attributes:
        values: The average after each reading, shape (n,); before the first it stood at
            `target`.
        target: Where the average begins.
        upper: Upper limit for each reading, shape (n,).
        lower: Lower limit for each reading, shape (n,).
        alarms: Indices at which the average is beyond a limit.
    """

    values: Floats
    target: float
    upper: Floats
    lower: Floats
    alarms: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CusumChart:
    """Two-sided tabular CUSUM.

    Attributes:
        high: Sum of what lies above target + k, never below zero, shape (n,).
        low: The same below target - k, also counted upwards, shape (n,).
        alarms: Indices at which either sum exceeds h (both in standard deviations).
        since: For each alarm the index from which the sum has been above zero: the
            shift began about there.
    """

    high: Floats
    low: Floats
    alarms: tuple[int, ...]
    since: tuple[int, ...]


def individuals_chart(
    values: ArrayLike, *, baseline: int | None = None, width: float = 3.0
) -> IndividualsChart:
    """Chart single readings (NIST/SEMATECH e-Handbook 6.3.2.2).

    Args:
        values: Readings, shape (n,).
        baseline: How many of the first readings the limits come from; all by default.
        width: Limits in standard deviations.

    Raises:
        CalibrationError: Fewer than two readings in the baseline.
    """
    x = _series(values)
    own = x[:baseline]
    if len(own) < 2:
        raise CalibrationError(
            f"an individuals chart needs 2 readings to begin with, not {len(own)}. "
            "Take more readings first."
        )
    centre = float(own.mean())
    moving_range = float(np.abs(np.diff(own)).mean())
    sigma = moving_range / D2_OF_TWO
    upper, lower = centre + width * sigma, centre - width * sigma
    return IndividualsChart(
        values=x,
        centre=centre,
        sigma=sigma,
        mean_moving_range=moving_range,
        upper=upper,
        lower=lower,
        outside=_where((x > upper) | (x < lower)),
    )


def individuals_between_marks(
    values: ArrayLike, *, restarts: Sequence[int], width: float = 3.0
) -> tuple[IndividualsChart | None, ...]:
    """One chart for each stretch between services or recalibrations.

    Args:
        values: Readings, shape (n,).
        restarts: Indices of the first reading after each mark.
        width: Limits in standard deviations.

    Returns:
        One chart a stretch, None where a stretch has fewer than two readings.
    """
    x = _series(values)
    edges = sorted({0, len(x), *(i for i in restarts if 0 < i < len(x))})
    stretches = [x[a:b] for a, b in pairwise(edges)]
    return tuple(individuals_chart(s, width=width) if len(s) > 1 else None for s in stretches)


def ewma_chart(
    values: ArrayLike,
    *,
    target: float,
    sigma: float,
    weight: float = 0.3,
    width: float = 3.0,
    starting_up: bool = False,
) -> EwmaChart:
    """Chart an exponentially weighted moving average (e-Handbook 6.3.2.4).

    Args:
        values: Readings, shape (n,).
        target: Where the series should be.
        sigma: Standard deviation of one reading.
        weight: Share of the newest reading, above 0, at most 1 (lambda).
        width: Limits in standard deviations of the average (L).
        starting_up: Whether the limits widen from the first reading on, as the average's
            own deviation does, in place of being constant.

    Raises:
        CalibrationError: A weight or sigma that cannot be.
    """
    x = _series(values)
    if not 0 < weight <= 1 or not sigma > 0:
        raise CalibrationError(
            f"an EWMA needs a weight above 0 and at most 1 and a sigma above 0, "
            f"not {weight:g} and {sigma:g}."
        )
    averages, average = np.empty(len(x)), target
    for i, value in enumerate(x):
        average = weight * value + (1 - weight) * average
        averages[i] = average
    started = 1 - (1 - weight) ** (2 * np.arange(1, len(x) + 1)) if starting_up else 1.0
    reach = width * sigma * np.sqrt(weight / (2 - weight) * started * np.ones(len(x)))
    return EwmaChart(
        values=averages,
        target=target,
        upper=target + reach,
        lower=target - reach,
        alarms=_where(np.abs(averages - target) > reach),
    )


def cusum_chart(
    values: ArrayLike,
    *,
    target: float,
    sigma: float,
    k: float = 0.5,
    h: float = 5.0,
    head_start: float = 0.0,
) -> CusumChart:
    """Chart a two-sided tabular CUSUM.

    Args:
        values: Readings, shape (n,).
        target: Where the series should be.
        sigma: Standard deviation of one reading.
        k: Reference value in standard deviations: half the shift looked for.
        h: Decision limit in standard deviations.
        head_start: Where both sums begin, in standard deviations.

    Raises:
        CalibrationError: A sigma, k or h that cannot be.
    """
    if not (sigma > 0 and k >= 0 and h > 0):
        raise CalibrationError(
            f"a CUSUM needs sigma and h above 0 and k not below, not {sigma:g}, {h:g}, {k:g}."
        )
    z = (_series(values) - target) / sigma
    return cusum_of_scores(z, k=k, h=h, head_start=head_start)


def cusum_of_scores(
    scores: Floats,
    *,
    k: float,
    h: float,
    head_start: float = 0.0,
    restarts: Sequence[int] = (),
) -> CusumChart:
    """Two-sided tabular CUSUM of readings that are already standard scores.

    Args:
        scores: Standard scores, shape (n,); NaN leaves the sums as they are.
        k: Reference value.
        h: Decision limit.
        head_start: Where both sums begin.
        restarts: Indices before which both sums go back to the beginning.
    """
    high, high_since = _one_sided(scores, k, head_start, frozenset(restarts))
    low, low_since = _one_sided(-scores, k, head_start, frozenset(restarts))
    alarms = _where((high > h) | (low > h))
    return CusumChart(
        high=high,
        low=low,
        alarms=alarms,
        since=tuple((high_since if high[i] > low[i] else low_since)[i] for i in alarms),
    )


def _one_sided(
    scores: Floats, k: float, head_start: float, restarts: frozenset[int]
) -> tuple[Floats, list[int]]:
    """The upper sum after each score, and since when it has been above zero."""
    total, began = head_start, 0
    sums, since = [], []
    # plain floats: a numpy call for each reading takes forty times as long
    for i, z in enumerate(scores.tolist()):
        if i in restarts:
            total, began = head_start, i
        if z == z:  # a NaN leaves the sum as it is
            began = i if total <= 0 else began
            total = max(0.0, total + z - k)
        sums.append(total)
        since.append(began)
    return np.array(sums, dtype=np.float64), since


def _series(values: ArrayLike) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1:
        raise ValueError(f"a series must have shape (n,), not {x.shape}")
    if not np.isfinite(x).all():
        raise CalibrationError(
            f"{int((~np.isfinite(x)).sum())} of {len(x)} readings are not finite. "
            "Leave them out of the chart."
        )
    return x


def _where(mask: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(i) for i in np.flatnonzero(mask))
