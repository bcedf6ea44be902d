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
    pieces = _Pieces(
        level=np.concatenate([level.piece for level in levels]),
        lift=np.concatenate([level.piece_lift for level in levels]),
        noise=_block_diagonal([level.piece_noise for level in levels]),
        beyond=_block_diagonal([level.piece_beyond for level in levels]),
        walk=_walk_covariance(levels),
        design=_design(levels, is_empty),
    )
    like = _likeliest(pieces)
    reading = pieces.noise + like.lasting * pieces.beyond
    # a pendulum or not: between the two the truth is one of them, never the mean
    doubt = like.pendulum * (1 - like.pendulum) * np.outer(pieces.lift, pieces.lift)
    walk = like.rate**2 * pieces.walk
    weighted = np.linalg.solve(reading + walk, pieces.design).T
    gain = np.linalg.solve(weighted @ pieces.design, weighted)[1:]
    return Loads(
        added_n=gain @ (pieces.level - like.pendulum * pieces.lift),
        from_reading=gain @ (reading + doubt) @ gain.T,
        from_walk=gain @ walk @ gain.T,
        rate=like.rate,
    )


class _Pieces(NamedTuple):
    """The pieces of all windows, one after the other."""

    level: Floats
    lift: Floats
    noise: Floats
    beyond: Floats
    walk: Floats
    design: Floats


class _Likely(NamedTuple):
    """What the check says of itself.

    Attributes:
        rate: Of the walk, newtons per root second.
        lasting: Share of what misfits that lasts longer than a second.
        pendulum: Chance that the masses swung as pendulums, not up and down.
    """

    rate: float
    lasting: float
    pendulum: float


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


def _likeliest(pieces: _Pieces) -> _Likely:
    """Weigh every rate of the walk, every lasting share, pendulum or not.

    What benches usually show of the rate is weighed by what this check shows.
    """
    tried = _BEYOND if pieces.beyond.any() else (0.0,)
    both = np.column_stack([pieces.level, pieces.level - pieces.lift])
    logs = np.array(
        [
            [
                _log_likelihood(both, pieces.design, pieces.noise + e * pieces.beyond + walk)
                for e in tried
            ]
            for walk in (q**2 * pieces.walk for q in _RATES)
        ]
    )
    usual = -0.5 * (np.log(_RATES / _USUAL_N_PER_ROOT_S) / _USUAL_LN_SD) ** 2
    logs += usual[:, None, None]
    share = np.exp(logs - logs.max())
    share /= share.sum()
    return _Likely(
        rate=_covering(share.sum(axis=(1, 2))),
        lasting=float(share.sum(axis=(0, 2)) @ tried),
        pendulum=float(share.sum(axis=(0, 1))[1]),
    )


def _covering(share: Floats) -> float:
    """The one rate whose two deviations hold as much as all rates together, by share.

    A walk whose rate is not well known has longer tails than one whose rate is; a mean
    rate would promise too much.
    """
    twice = 2 * np.geomspace(_RATES[0], _RATES[-1], 200)
    inside = np.array([share @ [erf(x / q / sqrt(2)) for q in _RATES] for x in twice])
    return float(np.interp(erf(sqrt(2)), inside, twice / 2))


def _log_likelihood(both: Floats, design: Floats, covariance: Floats) -> Floats:
    """Restricted log likelihood of each column: levels say nothing about the walk."""
    factor = np.linalg.cholesky(covariance)
    white = np.linalg.solve(factor, np.column_stack([design, both]))
    q, r = np.linalg.qr(white[:, : design.shape[1]])
    left = white[:, design.shape[1] :]
    left = left - q @ (q.T @ left)
    logdet = np.log(np.diag(factor)).sum() + np.log(np.abs(np.diag(r))).sum()
    return np.asarray(-logdet - 0.5 * np.sum(left**2, axis=0), dtype=np.float64)


def _block_diagonal(blocks: Sequence[Floats]) -> Floats:
    size = sum(len(b) for b in blocks)
    whole, at = np.zeros((size, size)), 0
    for block in blocks:
        whole[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return whole
