"""The zero wanders between two readings: how fast, and where it stood meanwhile.

Zero is taken as a random walk of `rate` newtons per root second. What a window reads is
the walk's mean over it, so levels read at different times share what happened before.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tensionlog.check.settling import Level

Floats = NDArray[np.float64]

_RATES: Final = np.geomspace(5e-4, 5e-2, 41)
_USUAL_N_PER_ROOT_S: Final = 0.0045
_USUAL_LN_SD: Final = 0.6
"""What benches show is 0.002 to 0.01 N per root second (bench experience, no source);
one check alone says little about it, so that much is known beforehand."""


def walk_covariance(levels: Sequence[Level]) -> Floats:
    """Covariance of window means of a walk of rate 1, less an offset common to all.

    Only differences of levels mean something under it; windows must not overlap.

    Returns:
        Shape (n, n), seconds.
    """
    centre = np.array([level.t_s for level in levels])
    spread = np.array([level.spread_s for level in levels])
    shared = np.minimum.outer(centre, centre) - centre.min() - np.diag(spread / 2)
    return np.asarray(shared, dtype=np.float64)


def wander_rate(zeros: Sequence[Level], windows: Sequence[Level]) -> float:
    """Rate of the walk in newtons per root second.

    Weighs what benches usually show by what this check shows: the zeros against one
    another and the drift inside every window.

    Args:
        zeros: Levels of the empty cell, in order of time.
        windows: All levels, loaded ones too.
    """
    logs = np.array([_log_likelihood(rate, zeros, windows) for rate in _RATES])
    logs -= 0.5 * (np.log(_RATES / _USUAL_N_PER_ROOT_S) / _USUAL_LN_SD) ** 2
    share = np.exp(logs - logs.max())
    return float(np.sqrt(share @ _RATES**2 / share.sum()))


def _log_likelihood(rate: float, zeros: Sequence[Level], windows: Sequence[Level]) -> float:
    total = 0.0
    for level in windows:
        length = level.end_s - level.start_s
        # means of the first and last third of a walk differ by q*sqrt(5/9 of the window)
        variance = level.u_late_minus_early**2 + rate**2 * length * 5 / 9
        total -= 0.5 * (np.log(variance) + level.late_minus_early**2 / variance)
    return total + _log_likelihood_between(rate, zeros)


def _log_likelihood_between(rate: float, zeros: Sequence[Level]) -> float:
    if len(zeros) < 2:
        return 0.0
    noise = np.diag([level.u**2 for level in zeros])
    steps = np.diff(np.eye(len(zeros)), axis=0)
    covariance = steps @ (rate**2 * walk_covariance(zeros) + noise) @ steps.T
    step = steps @ np.array([level.level for level in zeros])
    _, logdet = np.linalg.slogdet(covariance)
    return float(-0.5 * (logdet + step @ np.linalg.solve(covariance, step)))


def zero_weights(zeros: Sequence[Level], others: Sequence[Level], rate: float) -> Floats:
    """How to weigh the zeros to know where zero stood as each of `others` was read.

    Between two zeros this is close to a straight line in time, after the last one its
    level; the noise of the zeros makes it lean on more than the nearest.

    Returns:
        Shape (len(others), len(zeros)); rows sum to one.
    """
    n = len(zeros)
    together = rate**2 * walk_covariance([*zeros, *others])
    noise = np.diag([level.u**2 for level in zeros])
    # one row more holds the sum of the weights at one: the offset itself is unknown
    system = np.ones((n + 1, n + 1))
    system[:n, :n] = together[:n, :n] + noise
    system[n, n] = 0.0
    right = np.vstack([together[:n, n:], np.ones(len(others))])
    return np.asarray(np.linalg.solve(system, right)[:n].T, dtype=np.float64)
