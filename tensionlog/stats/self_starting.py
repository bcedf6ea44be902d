"""A CUSUM that needs no baseline: each reading is judged by those before it.

The textbook chart takes mean and deviation as known. A bench has four mornings, not four
hundred, and with both estimated from few readings a textbook limit gives false alarms by
the dozen. Here reading n is set against the mean and deviation of the n - 1 before it,
which follows Student's t exactly, and turned into a standard normal score (Hawkins 1987).
Scores are clipped, so that one slip of the hand does not raise an alarm.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.errors import CalibrationError
from tensionlog.stats.control import cusum_of_scores

Floats = NDArray[np.float64]

REFERENCE: Final = 0.5
LIMIT: Final = 6.5
CLIP: Final = 3.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """An alarm of the chart and what it says.

    Attributes:
        index: Reading at which the alarm came.
        since: Reading from which on the level has been another, about.
        size: Mean since then less the mean before, in the unit of the series.
        u_size: Standard uncertainty of `size`.
    """

    index: int
    since: int
    size: float
    u_size: float

    def is_material(self, at_least: float) -> bool:
        """Whether the shift is large enough to matter: an alert needs both.

        Args:
            at_least: Smallest size that matters, in the unit of the series.
        """
        return abs(self.size) >= at_least


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfStartingCusum:
    """The chart over a whole series.

    Attributes:
        scores: Clipped normal scores, NaN where too few readings came before, shape (n,).
        high: Upper sum, shape (n,).
        low: Lower sum, shape (n,).
        limit: Decision limit of both.
        shifts: One for every time a sum rose above the limit.
        in_alarm: Whether a sum stands above the limit at the last reading.
    """

    scores: Floats
    high: Floats
    low: Floats
    limit: float
    shifts: tuple[Shift, ...]
    in_alarm: bool


def self_starting_cusum(
    values: ArrayLike,
    *,
    k: float = REFERENCE,
    h: float = LIMIT,
    clip: float = CLIP,
    restarts: Sequence[int] = (),
) -> SelfStartingCusum:
    """Chart a series from its third reading on.

    Args:
        values: Readings in order, shape (n,).
        k: Reference value, standard deviations.
        h: Decision limit. 6.5 keeps seven series of forty mornings to one false alarm in
            eleven histories.
        clip: No score counts as further out than this.
        restarts: Indices of the first reading after a service or a recalibration; what
            came before is then forgotten.

    Raises:
        CalibrationError: A reading that is not finite.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1:
        raise ValueError(f"a series must have shape (n,), not {x.shape}")
    if not np.isfinite(x).all():
        raise CalibrationError("a reading of the series is not finite. Leave it out.")
    scores = np.clip(normal_scores(x, restarts=restarts), -clip, clip)
    chart = cusum_of_scores(scores, k=k, h=h, restarts=restarts)
    rises = [
        (index, since)
        for index, since in zip(chart.alarms, chart.since, strict=True)
        if index - 1 not in chart.alarms or index in restarts
    ]
    return SelfStartingCusum(
        scores=scores,
        high=chart.high,
        low=chart.low,
        limit=h,
        shifts=tuple(_shift(x, index, since, restarts) for index, since in rises),
        in_alarm=bool(len(x)) and len(x) - 1 in chart.alarms,
    )


def normal_scores(values: ArrayLike, *, restarts: Sequence[int] = ()) -> Floats:
    """Each reading as a standard normal score by the readings before it, shape (n,).

    For independent normal readings the scores are independent and standard normal, from
    the third reading on; the first two of every stretch are NaN.
    """
    x = np.asarray(values, dtype=np.float64)
    edges = sorted({0, len(x), *(i for i in restarts if 0 < i < len(x))})
    parts = [_scores_of_stretch(x[a:b]) for a, b in pairwise(edges)]
    return np.concatenate(parts) if parts else np.empty(0)


def _scores_of_stretch(x: Floats) -> Floats:
    from scipy.special import ndtri, stdtr

    n = np.arange(len(x))  # readings before each
    scores = np.full(len(x), np.nan)
    if len(x) < 3:
        return scores
    shifted = x - x[0]  # keeps the sums of squares from cancelling
    total = np.concatenate([[0.0], np.cumsum(shifted)[:-1]])
    square = np.concatenate([[0.0], np.cumsum(shifted**2)[:-1]])
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / n
        sd = np.sqrt(np.maximum(0.0, square - n * mean**2) / (n - 1))
        ratio = (shifted - mean) / sd * np.sqrt(n / (n + 1.0))
    late = n >= 2
    ratio = np.where(late & np.isnan(ratio), 0.0, ratio)  # all alike so far: nothing moved
    ratio = np.where(late, ratio, 0.0)
    # the lower tail keeps its digits; the upper side mirrors it
    tail = stdtr(n[late] - 1, -np.abs(ratio[late]))
    scores[late] = -np.sign(ratio[late]) * ndtri(np.clip(tail, 1e-300, 0.5))
    return scores


def _shift(x: Floats, index: int, since: int, restarts: Sequence[int]) -> Shift:
    begin = max((r for r in restarts if r <= index), default=0)
    before, after = x[begin:since], x[since : index + 1]
    # `before` is never empty: the first two of a stretch have no score and raise no sum
    pooled = np.concatenate([before - before.mean(), after - after.mean()])
    freedoms = max(1, len(pooled) - 2)
    u = np.sqrt(pooled @ pooled / freedoms * (1 / len(before) + 1 / len(after)))
    size = float(after.mean() - before.mean())
    return Shift(index=index, since=since, size=size, u_size=float(u))
