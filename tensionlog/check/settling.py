"""The level that a hung mass comes to, read while it still swings a little.

A mass is moved by hand, let go, swings at 0.5 to 1.5 Hz and dies down; all the while the
cell reads one level and a swing that is as often above it as below. So nobody need wait
for the swing to end: level and swing are fitted together. Where the window begins is found,
not timed: it grows backwards from the end for as long as what it takes in is still a level,
a swing, noise and the slow walk of zero; at the hand's last touch it stops.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from tensionlog.check.cleaning import Floats
from tensionlog.check.swing import Fit, best_new_mode, fit_swing

BLOCK_S: Final = 0.1
SEED_S: Final = 2.0
"""The first window: a period of the slowest swing."""

LONGEST_S: Final = 20.0
"""Further back zero has walked too far to help."""

_STEPS_S: Final = (1.6, 0.8, 0.4)
"""How far back a window is grown at a time; where the long step fails a shorter may not."""

PIECE_S: Final = 1.0
MOST_MODES: Final = 2

_ENDS_S: Final = (0.0, 0.6, 1.2, 2.0)
"""The hand may be back before the next load is named; up to this much is left out."""

_NOT_MUCH_WORSE: Final = 3.0
"""A later window is worth this many times the misfit of an earlier one."""

_WALK_N_PER_ROOT_S: Final = 0.01
"""The fastest walk of zero that benches show (bench experience, no source)."""

_WALK_ALLOWED_N_PER_ROOT_S: Final = 0.02
"""What a walk may do inside a window before it counts as a hand: twice the fastest, so
that windows are not picked for being quiet."""

_DRAUGHT_N: Final = 0.04
"""What a draught may do inside a window (bench experience, no source). A hand does tenths
of newtons at least; two quiet seconds at the end are no measure of the draught before."""

_MEMORY_S: Final = 0.3
"""What a draught or a poor swing leaves stays on one side about this long."""

_EARNS: Final = 25.0
"""Fall of the scaled misfit that a further mode (four parameters) must bring."""


class Blocks(NamedTuple):
    """A reading in short means.

    Attributes:
        t_s: Mean time of each, shape (k,).
        mean: Mean reading of each, shape (k,).
        n: Samples in each, shape (k,).
    """

    t_s: Floats
    mean: Floats
    n: Floats

    def part(self, first: int, last: int) -> "Blocks":
        """Blocks `first` to before `last`."""
        return Blocks(self.t_s[first:last], self.mean[first:last], self.n[first:last])


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level read from one window.

    Attributes:
        level: The level, in the unit of the reading.
        u: Its standard uncertainty from noise and swing; the wander of zero is not in it.
        t_s: Time that it stands for.
        start_s: Where the window begins.
        end_s: Where it ends.
        swing: Amplitude of the swing left at the window's end; 0 where none was needed.
        piece_t_s: Middles of the window's pieces of about a second, shape (p,).
        piece: Level of each piece, swing taken out, shape (p,).
        piece_s: How long each piece is.
        piece_lift: What each reads too much if the swing is a pendulum's, shape (p,).
        piece_noise: Covariance of the pieces from the samples' noise, shape (p, p).
        piece_beyond: The same from what misfits beyond noise, shape (p, p).
    """

    level: float
    u: float
    t_s: float
    start_s: float
    end_s: float
    swing: float
    piece_t_s: Floats
    piece: Floats
    piece_s: float
    piece_lift: Floats
    piece_noise: Floats
    piece_beyond: Floats

    @property
    def late_minus_early(self) -> float:
        """Last piece less the first: creep, drift and noise together."""
        return float(self.piece[-1] - self.piece[0])


def to_blocks(t_s: Floats, reading: Floats) -> Blocks:
    """Mean readings over `BLOCK_S`, or single samples where they are further apart."""
    index = np.floor((t_s - t_s[0]) / BLOCK_S).astype(np.int64)
    n = np.bincount(index).astype(np.float64)
    some = n > 0
    n_some = n[some]
    return Blocks(
        t_s[0] + np.bincount(index, t_s - t_s[0])[some] / n_some,
        np.bincount(index, reading)[some] / n_some,
        n_some,
    )


def settled_level(*, t_s: Floats, reading: Floats, noise: float) -> Level | None:
    """The level that a reading comes to, or None where there is too little of it.

    Args:
        t_s: Times of clean samples since the load was named, seconds, shape (n,).
        reading: The samples, newtons, shape (n,).
        noise: Standard deviation of one sample, newtons.
    """
    if len(t_s) < 12 or t_s[-1] - t_s[0] < SEED_S:
        return None
    blocks = to_blocks(t_s, reading)
    seed = _seed(blocks, noise)
    if seed is None:
        return None
    first, last, fit = _grown(blocks, *seed, noise)
    part = blocks.part(first, last)
    return _level(part, _without_idle_modes(part, fit, noise), noise)


def _without_idle_modes(part: Blocks, fit: Fit, noise: float) -> Fit:
    """The same window without the swing, where over its whole length none is needed."""
    plain = _fitted(part, noise, more=False)
    length = part.t_s[-1] - part.t_s[0]
    return fit if _earns(fit, plain, noise**2 / part.n.mean(), length) else plain


def _fitted(part: Blocks, noise: float, begin: Fit | None = None, more: bool = True) -> Fit:
    """Level and swing of one window, with as many modes as earn their place."""
    t = part.t_s - part.t_s[0]
    weight = part.n / part.n.mean()
    fit = fit_swing(t, part.mean, weight, begin.modes if begin else ())
    white = noise**2 / part.n.mean()
    while more and len(fit.modes) < MOST_MODES:
        mode = best_new_mode(t, fit.residual, weight)
        if mode is None or len(t) < 4 * len(fit.modes) + 10:
            break
        larger = fit_swing(t, part.mean, weight, (*fit.modes, mode))
        if not _earns(larger, fit, white, t[-1]):
            break
        fit = larger
    return fit


def _earns(larger: Fit, smaller: Fit, white: float, length: float) -> bool:
    """Whether modes explain more than noise and the walk of zero could have feigned."""
    fall = smaller.misfit * smaller.freedoms - larger.misfit * larger.freedoms
    walk = _WALK_N_PER_ROOT_S**2 * length / 6 * len(larger.residual)
    return fall >= _EARNS * max(white, larger.misfit) + walk


def _seed(blocks: Blocks, noise: float) -> tuple[int, int, Fit] | None:
    """A first window near the end: the latest that is not much worse than the best."""
    t = blocks.t_s
    floor = noise**2 / float(blocks.n.mean())
    tried: list[tuple[int, int, Fit]] = []
    for end in _ENDS_S:
        last = int(np.searchsorted(t, t[-1] - end, side="right"))
        first = int(np.searchsorted(t, t[last - 1] - SEED_S))
        if last - first < 10 or end > 0.25 * (t[-1] - t[0]):
            continue
        tried.append((first, last, _fitted(blocks.part(first, last), noise)))
        if tried[-1][2].misfit <= _NOT_MUCH_WORSE * floor:
            break
    best = min((max(floor, fit.misfit) for _, _, fit in tried), default=0.0)
    return next((s for s in tried if s[2].misfit <= _NOT_MUCH_WORSE * best), None)


def _grown(
    blocks: Blocks, first: int, last: int, fit: Fit, noise: float
) -> tuple[int, int, Fit]:
    """The window grown backwards for as long as it stays plausible."""
    t = blocks.t_s
    white = noise**2 / blocks.n.mean()
    floor = max(white, fit.misfit)
    earliest = max(t[0], t[last - 1] - LONGEST_S)
    for step in _STEPS_S:
        while t[first] > earliest:
            # where lines were lost the step may hold no block: take the one beyond the hole
            back = min(first - 1, int(np.searchsorted(t, max(earliest, t[first] - step))))
            wider = _wider(blocks.part(back, last), first - back, fit, floor, noise)
            if wider is None:
                break
            first, fit = back, wider
            floor = max(white, min(floor, fit.misfit)) if fit.freedoms > 12 else floor
    return first, last, fit


def _wider(part: Blocks, new: int, before: Fit, floor: float, noise: float) -> Fit | None:
    """The fit of a window with `new` more blocks at its beginning, if it is plausible."""
    wider = _fitted(part, noise, before, more=False)
    if _is_plausible(part, new, wider, floor):
        return wider
    wider = _fitted(part, noise, before)
    return wider if _is_plausible(part, new, wider, floor) else None


def _is_plausible(part: Blocks, new: int, fit: Fit, floor: float) -> bool:
    """Whether a window holds nothing but a level, a swing, noise and a walking zero."""
    length = part.t_s[-1] - part.t_s[0]
    walk = _WALK_ALLOWED_N_PER_ROOT_S**2 * length
    scatter, scatter_new = (1 + 3 * np.sqrt(2 / max(1, n)) for n in (fit.freedoms, new))
    return bool(
        fit.misfit <= floor * scatter + walk / 6 + _DRAUGHT_N**2
        and np.mean(fit.residual[:new] ** 2) <= floor * scatter_new + walk / 3 + _DRAUGHT_N**2
    )


def _level(part: Blocks, fit: Fit, noise: float) -> Level:
    """Level and pieces of a finished window, with what is known of them."""
    white = noise**2 / part.n
    beyond = _beyond_noise(part, fit, noise)
    whole = _gain(np.ones((len(part.n), 1)), fit, white + beyond)[0]
    pieces = _piece_columns(part.t_s)
    gain = _gain(pieces, fit, white + beyond)
    length = float(part.t_s[-1] - part.t_s[0])
    decay = np.array([mode.decay for mode in fit.modes])
    return Level(
        level=float(whole @ (part.mean - fit.lift_share * fit.lift)),
        u=float(np.sqrt(whole**2 @ (white + beyond))),
        t_s=float(whole @ part.t_s),
        start_s=float(part.t_s[0]),
        end_s=float(part.t_s[-1]),
        swing=float(np.sum(np.array(fit.amplitudes) * np.exp(-decay * length))),
        piece_t_s=(part.t_s @ pieces) / pieces.sum(axis=0),
        piece=gain @ part.mean,
        piece_s=length / pieces.shape[1],
        piece_lift=gain @ fit.lift,
        piece_noise=(gain * white) @ gain.T,
        piece_beyond=beyond * gain @ gain.T,
    )


def _beyond_noise(part: Blocks, fit: Fit, noise: float) -> float:
    """Variance per block that stands for what misfits beyond the noise.

    Differences over half a second show a draught or a poor swing and hardly the walk of
    zero. Its memory makes each block count for less than one: hence the factor.
    """
    spacing = float(part.t_s[-1] - part.t_s[0]) / (len(part.n) - 1)
    lag = max(1, round(0.5 / spacing))
    # parameters that were fitted take their share of the residuals with them
    share = len(fit.residual) / fit.freedoms
    half = 0.5 * float(np.mean((fit.residual[lag:] - fit.residual[:-lag]) ** 2)) * share
    memory = 1 + 2 * _MEMORY_S / spacing
    white = noise**2 / float(part.n.mean()) * (1 + np.sqrt(2 / len(fit.residual)))
    walk = _WALK_N_PER_ROOT_S**2 * lag * spacing / 2
    return float(max(0.0, half - float(white) - walk) * memory)


def _gain(columns: Floats, fit: Fit, variance: Floats) -> Floats:
    """How the blocks are weighed for the coefficients of `columns` beside the swing."""
    size = np.linalg.norm(fit.swing, axis=0)
    design = np.hstack([columns, fit.swing / np.where(size > 0, size, 1.0)])
    root = np.sqrt(variance)
    inverse = np.linalg.pinv(design / root[:, None], rcond=1e-9)
    return np.asarray(inverse[: columns.shape[1]] / root, dtype=np.float64)


def _piece_columns(t: Floats) -> Floats:
    """Which block lies in which piece, shape (k, p): pieces of about a second."""
    count = max(2, round((t[-1] - t[0]) / PIECE_S))
    # by number of blocks, not by time: where lines were lost no piece must be empty
    which = np.arange(len(t)) * count // len(t)
    return np.asarray(which[:, None] == np.arange(count), dtype=np.float64)
