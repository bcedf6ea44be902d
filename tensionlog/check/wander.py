"""The zero wanders between two readings: how fast, and what that leaves of the loads.

Zero is a random walk of `rate` newtons per root second; a reading under load is the walk
plus what the load adds. All pieces of all windows are solved for the loads at once, by
generalised least squares, so that the seconds just before and after a mass is hung count
most, which is where the walk has gone least far.
"""

from collections.abc import Sequence
from math import erf, sqrt
from typing import Final, NamedTuple

import numpy as np

from tensionlog.check.cleaning import Floats
from tensionlog.check.settling import Level

_RATES: Final = np.geomspace(5e-4, 4e-2, 17)
_BEYOND: Final = (0.0, 0.3, 1.0)
"""How much of what a window misfits lasts longer than a second, tried."""

_USUAL_N_PER_ROOT_S: Final = 0.005
_USUAL_LN_SD: Final = 0.5
"""What benches show is 0.002 to 0.01 N per root second (bench experience, no source);
one check alone says little about it, so that much is known beforehand."""


class Loads(NamedTuple):
    """What each load adds to the reading.

    Attributes:
        added_n: Level of each load above zero as it then stood, shape (n,).
        from_reading: Its covariance from noise and swing, shape (n, n).
        from_walk: Its covariance from the walk of zero, shape (n, n).
        rate: Of the walk, newtons per root second.
    """

    added_n: Floats
    from_reading: Floats
    from_walk: Floats
    rate: float


def loads_above_zero(levels: Sequence[Level], is_empty: Sequence[bool]) -> Loads:
    """What each load adds, with the walk of zero between them allowed for.

    Args:
        levels: Of all windows in order of time; at least one empty and one loaded.
        is_empty: Whether nothing hung on the cell.
    """
    y = np.concatenate([level.piece for level in levels])
    noise = _block_diagonal([level.piece_noise for level in levels])
    beyond = _block_diagonal([level.piece_beyond for level in levels])
    walk = _walk_covariance(levels)
    design = _design(levels, is_empty)
    rate, share = _walk_rate(y, design, noise, beyond, walk)
    reading = noise + share * beyond
    weighted = np.linalg.solve(reading + rate**2 * walk, design).T
    gain = np.linalg.solve(weighted @ design, weighted)[1:]
    return Loads(
        added_n=gain @ y,
        from_reading=gain @ reading @ gain.T,
        from_walk=gain @ (rate**2 * walk) @ gain.T,
        rate=rate,
    )


def _walk_covariance(levels: Sequence[Level]) -> Floats:
    """Covariance of the pieces' means under a walk of rate 1, less a common offset."""
    t = np.concatenate([level.piece_t_s for level in levels])
    length = np.repeat([level.piece_s for level in levels], [len(v.piece) for v in levels])
    # a mean over a piece knows the walk to a sixth of its length better than one instant
    since = t - t.min() + length[0]
    return np.asarray(np.minimum.outer(since, since) - np.diag(length / 6), dtype=np.float64)


def _design(levels: Sequence[Level], is_empty: Sequence[bool]) -> Floats:
    """One column for zero, which all pieces share, and one for each loaded window."""
    pieces = [len(level.piece) for level in levels]
    columns = [np.ones(sum(pieces))]
    for i, empty in enumerate(is_empty):
        if not empty:
            columns.append(np.repeat(np.arange(len(levels)) == i, pieces).astype(np.float64))
    return np.column_stack(columns)


def _walk_rate(
    y: Floats, design: Floats, noise: Floats, beyond: Floats, walk: Floats
) -> tuple[float, float]:
    """Rate of the walk and share of `beyond` that lasts.

    What benches usually show of the rate is weighed by what this check shows.
    """
    tried = _BEYOND if beyond.any() else (0.0,)
    logs = np.array(
        [
            [_log_likelihood(y, design, noise + e * beyond + q**2 * walk) for e in tried]
            for q in _RATES
        ]
    )
    logs -= 0.5 * (np.log(_RATES / _USUAL_N_PER_ROOT_S)[:, None] / _USUAL_LN_SD) ** 2
    share = np.exp(logs - logs.max())
    share /= share.sum()
    return _covering(share.sum(axis=1)), float(share.sum(axis=0) @ tried)


def _covering(share: Floats) -> float:
    """The one rate whose two deviations hold as much as all rates together, by share.

    A walk whose rate is not well known has longer tails than one whose rate is; a mean
    rate would promise too much.
    """
    twice = 2 * np.geomspace(_RATES[0], _RATES[-1], 200)
    inside = np.array([share @ [erf(x / q / sqrt(2)) for q in _RATES] for x in twice])
    return float(np.interp(erf(sqrt(2)), inside, twice / 2))


def _log_likelihood(y: Floats, design: Floats, covariance: Floats) -> float:
    """Restricted log likelihood: the levels themselves say nothing about the walk."""
    factor = np.linalg.cholesky(covariance)
    white = np.linalg.solve(factor, np.column_stack([design, y]))
    q, r = np.linalg.qr(white[:, :-1])
    left = white[:, -1] - q @ (q.T @ white[:, -1])
    logdet = np.log(np.diag(factor)).sum() + np.log(np.abs(np.diag(r))).sum()
    return float(-logdet - 0.5 * left @ left)


def _block_diagonal(blocks: Sequence[Floats]) -> Floats:
    size = sum(len(b) for b in blocks)
    whole, at = np.zeros((size, size)), 0
    for block in blocks:
        whole[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return whole
