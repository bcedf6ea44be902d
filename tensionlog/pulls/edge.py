"""When a fall begins: the moment of a step that the converter has smeared.

A converter that averages over the last conversions turns a sudden fall into a slope, one
that averages several times over into a soft one; a clamp that opens in 5–30 ms adds its
own. All are convolved, and the beginning of the best of these shapes is the moment at
which the force begins to fall: the converter's delay is out of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SETTLE_PERIODS = 4.0
"""Conversions over which common bridge converters settle: about 50 ms at 80/s and
400 ms at 10/s."""

CONVERTERS = ((1.0,), (2.0,), (4.0,), (1.0, 1.0, 1.0), (1.0, 1.0, 1.0, 1.0))
"""Averages over so many conversions, one after the other, that converters make: plain
ones, and those of third and fourth order (common practice of bridge converters)."""

FALLS_S = (0.006, 0.016, 0.027)
"""How long the force itself takes to fall as a clamp opens."""

FINE_FALLS_S = tuple(0.005 + 0.0025 * i for i in range(11))
"""The same where samples come so fast that the fall itself is seen."""

STEP_PERIODS = 0.05
"""How closely moments are tried, in conversions: the forms of different converters differ
by less than a moment that is a tenth of a conversion off."""

FINE_PERIOD_S = 0.002
"""Time between samples below which the fall is told from the converter's smear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A smeared step.

    Attributes:
        begin_s: When the fall begins, in the times' own origin.
        width_s: How long the reading takes to come down.
        converter: Averages, one after the other, that the fall was smeared by, in
            conversions; empty where that was not asked.
        late_s: How late the converter shows a slow change.
    """

    begin_s: float
    width_s: float
    converter: tuple[float, ...] = ()
    late_s: float = 0.0

    @property
    def end_s(self) -> float:
        """When the reading has come down."""
        return self.begin_s + self.width_s


class _Smear:
    """A unit step averaged again and again, tabulated on a fine grid."""

    def __init__(self, widths_s: tuple[float, ...], step_s: float) -> None:
        self._step_s = step_s
        rows = np.ones(int(sum(widths_s) / step_s) + 3)
        for width_s in widths_s:
            size = max(1, round(width_s / step_s))
            total = np.cumsum(rows)
            total[size:] -= total[:-size].copy()
            rows = total / size
        self._table = np.concatenate([[0.0], rows])

    def at(self, elapsed: Floats) -> Floats:
        """Share that has fallen, any shape; 0 before, 1 long after."""
        place = np.clip(elapsed / self._step_s, 0.0, len(self._table) - 1.001)
        low = place.astype(np.int64)
        part = place - low
        result: Floats = self._table[low] * (1.0 - part) + self._table[low + 1] * part
        return result


def locate_edge(
    t: Floats,
    residual: Floats,
    *,
    near_s: float,
    period: float,
    depth: float,
    converter: tuple[float, ...] | None = None,
) -> Edge:
    """Fit a smeared step from 0 to −`depth` to what remains after the slow law is out.

    Args:
        t: Times around the step, seconds, shape (n,).
        residual: Reading minus the law before the step, shape (n,).
        near_s: First guess.
        period: Time between samples, seconds.
        depth: Size of the step, positive.
        converter: Averages in conversions, or None to find them here.
    """
    reach = max(0.05, 6.0 * period)
    part = (t > near_s - 1.6 * reach) & (t < near_s + 1.8 * reach)
    begins = near_s + np.arange(-reach, 0.6 * reach, max(0.0005, STEP_PERIODS * period))
    elapsed = t[part][None, :] - begins[:, None]
    seen = residual[part] / depth
    best: tuple[float, Edge] = (np.inf, Edge(begin_s=near_s, width_s=SETTLE_PERIODS * period))
    for averages in CONVERTERS if converter is None else (converter,):
        for fall_s in FALLS_S if period > FINE_PERIOD_S else FINE_FALLS_S:
            widths = (fall_s, *(n * period for n in averages))
            smear = _Smear(widths, min(0.0005, 0.1 * period))
            misfit = ((seen + smear.at(elapsed)) ** 2).sum(axis=1)
            index = int(np.argmin(misfit))
            if misfit[index] < best[0]:
                edge = Edge(
                    begin_s=float(begins[index]),
                    width_s=sum(widths),
                    converter=averages,
                    late_s=0.5 * sum(averages) * period,
                )
                best = (float(misfit[index]), edge)
    return best[1]
