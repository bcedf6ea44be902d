"""How long a chart runs before it calls: the mean number of readings to an alarm.

A CUSUM or EWMA is a Markov chain on an interval. The mean run length from each point of
the interval solves a linear integral equation; Brook and Evans (1972) cut the interval
into states, here it is met at Gauss-Legendre nodes, which gives ten digits from a few
dozen of them (Crowder 1987 for the EWMA). In control `shift` is zero.
"""

from functools import cache
from math import exp, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NODES: Final = 80


def cusum_run_length(
    *, k: float, h: float, shift: float = 0.0, two_sided: bool = True
) -> float:
    """Mean run length of a tabular CUSUM of independent normal readings.

    Args:
        k: Reference value, standard deviations.
        h: Decision limit, standard deviations.
        shift: Where the mean has gone, standard deviations.
        two_sided: Whether a fall is looked for too.

    >>> round(cusum_run_length(k=0.5, h=5, shift=1.0), 2)
    10.38
    """
    up = _one_sided_cusum(k, h, shift)
    if not two_sided:
        return up
    # the two sums never stand high together, so their rates of alarm add exactly
    return 1 / (1 / up + 1 / _one_sided_cusum(k, h, -shift))


def _one_sided_cusum(k: float, h: float, shift: float) -> float:
    kernel = _cusum_kernel(k, h, shift)
    return float(np.linalg.solve(np.eye(len(kernel)) - kernel, np.ones(len(kernel)))[0])


def _cusum_kernel(k: float, h: float, shift: float) -> Floats:
    """Chance density of going from each state to each other without a call."""
    from scipy.special import ndtr

    node, weight = _gauss_legendre(0.0, h)
    start = np.concatenate([[0.0], node])  # zero is a state of its own, with weight
    kernel = np.empty((len(start), len(start)))
    kernel[:, 0] = ndtr(k - start - shift)
    kernel[:, 1:] = weight * _normal(node - start[:, None] + k - shift)
    return kernel


def cusum_alarm_share(
    *, k: float, h: float, readings: int, shift: float = 0.0, series: int = 1
) -> float:
    """Share of histories in which a two-sided CUSUM has called by the last reading.

    Args:
        k: Reference value, standard deviations.
        h: Decision limit, standard deviations.
        readings: Length of a history.
        shift: Where the mean is from the beginning, standard deviations.
        series: How many independent series a history has; one call in any counts.

    >>> round(cusum_alarm_share(k=0.5, h=6.5, readings=38, series=7), 3)
    0.093
    """
    quiet = 1.0
    for side in (shift, -shift):
        kernel = _cusum_kernel(k, h, side)
        alive = np.ones(len(kernel))
        for _ in range(readings):
            alive = kernel @ alive
        quiet *= float(alive[0])
    return float(1 - quiet**series)


def cusum_limit(*, k: float, readings: int, series: int, share: float) -> float:
    """Limit at which `share` of in-control histories have a call in any of their series.

    Args:
        k: Reference value, standard deviations.
        readings: Length of a history.
        series: How many independent series it has.
        share: The budget: how many histories may have a false alarm, above 0, below 1.
    """
    low, high = 0.5, 25.0
    while high - low > 1e-3:
        middle = (low + high) / 2
        called = cusum_alarm_share(k=k, h=middle, readings=readings, series=series)
        low, high = (middle, high) if called > share else (low, middle)
    return high


def ewma_run_length(*, weight: float, width: float, shift: float = 0.0) -> float:
    """Mean run length of a two-sided EWMA with constant limits, begun at the target.

    Args:
        weight: Share of the newest reading (lambda).
        width: Limits in standard deviations of the settled average (L).
        shift: Where the mean has gone, standard deviations of one reading.

    >>> round(ewma_run_length(weight=0.1, width=2.8143), 0)
    500.0
    """
    reach = width * sqrt(weight / (2 - weight))
    node, share = _gauss_legendre(-reach, reach)
    step = (node - (1 - weight) * node[:, None]) / weight - shift
    kernel = share * _normal(step) / weight
    lengths = np.linalg.solve(np.eye(len(node)) - kernel, np.ones(len(node)))
    begin = share * _normal(node / weight - shift) / weight
    return float(1 + begin @ lengths)


def siegmund_run_length(*, k: float, h: float, shift: float = 0.0) -> float:
    """Siegmund's closed approximation to `cusum_run_length`, two-sided.

    >>> round(siegmund_run_length(k=0.5, h=4), 2)
    169.05
    """
    up, down = (_siegmund(h + 1.166, side * shift - k) for side in (1, -1))
    return 1 / (1 / up + 1 / down)


def _siegmund(reach: float, drift: float) -> float:
    if drift == 0:
        return reach**2
    return (exp(-2 * drift * reach) + 2 * drift * reach - 1) / (2 * drift**2)


@cache
def _unit_nodes() -> tuple[Floats, Floats]:
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    return node, weight


def _gauss_legendre(low: float, high: float) -> tuple[Floats, Floats]:
    node, weight = _unit_nodes()
    return (low + high) / 2 + (high - low) / 2 * node, (high - low) / 2 * weight


def _normal(z: Floats) -> Floats:
    return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * pi), dtype=np.float64)
