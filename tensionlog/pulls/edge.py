"""When a fall begins: the moment of a step that the converter has smeared.

A converter that averages over the last few conversions turns a sudden fall into a
slope; a clamp that opens in 5–30 ms adds its own. The two are convolved, and the
beginning of the best of these shapes is the moment at which the force begins to fall:
the converter's delay is out of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SETTLE_PERIODS = 4.0
"""Conversions over which common bridge converters settle: about 50 ms at 80/s and
400 ms at 10/s."""

CONVERTERS = (1.0, 2.0, 4.0)
"""Conversions that converters average over."""

FALLS_S = (0.006, 0.016, 0.027)
"""How long the force itself takes to fall as a clamp opens."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A smeared step.

    Attributes:
        begin_s: When the fall begins, in the times' own origin.
        width_s: How long the reading takes to come down.
        converter_s: How much of that is the converter's averaging.
    """

    begin_s: float
    width_s: float
    converter_s: float = 0.0

    @property
    def end_s(self) -> float:
        """When the reading has come down."""
        return self.begin_s + self.width_s


def _smeared(elapsed: Floats, fall_s: float, converter_s: float) -> Floats:
    """Unit step that falls evenly in `fall_s`, averaged over the last `converter_s`."""
    total = np.zeros_like(elapsed)
    for delay, sign in ((0.0, 1), (fall_s, -1), (converter_s, -1), (fall_s + converter_s, 1)):
        total += sign * np.maximum(elapsed - delay, 0.0) ** 2
    result: Floats = total / (2.0 * fall_s * converter_s)
    return result


def locate_edge(
    t: Floats,
    residual: Floats,
    *,
    near_s: float,
    period: float,
    depth: float,
    converter: float | None = None,
) -> Edge:
    """Fit a smeared step from 0 to −`depth` to what remains after the slow law is out.

    Args:
        t: Times around the step, seconds, shape (n,).
        residual: Reading minus the law before the step, shape (n,).
        near_s: First guess.
        period: Time between samples, seconds.
        depth: Size of the step, positive.
        converter: Conversions averaged over, or None to find it here.
    """
    reach = max(0.05, 6.0 * period)
    part = (t > near_s - 1.6 * reach) & (t < near_s + 1.8 * reach)
    begins = near_s + np.arange(-reach, 0.6 * reach, max(0.0005, 0.15 * period))
    elapsed = t[part][None, :] - begins[:, None]
    seen = residual[part]
    best = (np.inf, near_s, SETTLE_PERIODS * period, 0.0)
    for averaged in CONVERTERS if converter is None else (converter,):
        for fall_s in FALLS_S:
            shape = _smeared(elapsed, fall_s, averaged * period)
            misfit = ((seen + depth * shape) ** 2).sum(axis=1)
            index = int(np.argmin(misfit))
            found = (float(misfit[index]), float(begins[index]))
            best = min(best, (*found, fall_s + averaged * period, averaged * period))
    return Edge(begin_s=best[1], width_s=best[2], converter_s=best[3])
