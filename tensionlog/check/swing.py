"""The swing of a hung mass: one or two decaying oscillations, fitted together with a level.

The level and the amplitudes are linear and solved for; frequency and decay are found on a
coarse grid and then refined by Gauss-Newton steps. The derivatives by frequency and decay
stay in the design, so that what is not known of them counts in the level's uncertainty.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_HZ: Final = np.arange(0.45, 3.7, 0.1)
_DECAY_PER_S: Final = np.array([0.0, 0.2, 0.5, 1.0])
_STEPS: Final = 4
_STILL_RAD: Final = 0.02
"""A step that turns the swing's far end by less than this is the last."""

_RIDGE: Final = 1e-10
"""Keeps two columns that have become one (a swing faster than its window) solvable."""


class Mode(NamedTuple):
    """One decaying oscillation.

    Attributes:
        rate: Angular frequency, radians per second.
        decay: One over the time in which it falls to 1/e, per second.
    """

    rate: float
    decay: float


LIFT: Final = 1 / 3
"""A pendulum pulls by a third of its swing's amplitude more than its weight, as long as it
swings (to second order in the angle: 1/4 beside 3/4); a bouncing mass does not."""


class Fit(NamedTuple):
    """A level and its swing over one window.

    Attributes:
        modes: The oscillations.
        swing: Columns of the oscillations and of their derivatives, shape (k, 4 * modes).
        lift: What the swing adds to the mean if it is a pendulum's, shape (k,).
        lift_share: How much of that the window itself shows, 0…1.
        amplitudes: Of each mode at the window's beginning, in the unit of the reading.
        residual: What is left, with as much lift as fits, shape (k,).
        misfit: Mean squared residual per freedom, weighted so that a typical block
            counts once.
        freedoms: Blocks less parameters.
    """

    modes: tuple[Mode, ...]
    swing: Floats
    lift: Floats
    lift_share: float
    amplitudes: tuple[float, ...]
    residual: Floats
    misfit: float
    freedoms: int


def fit_swing(t: Floats, y: Floats, weight: Floats, modes: tuple[Mode, ...]) -> Fit:
    """Fit a level and given modes, refining the modes.

    Args:
        t: Times of the blocks, seconds from the window's beginning, shape (k,).
        y: Their means, shape (k,).
        weight: Their relative weights, mean 1, shape (k,).
        modes: Where to begin; without any, only the level is fitted.
    """
    base, slopes, beta, left = _solve(t, y, weight, modes)
    for _ in range(_STEPS if modes else 0):
        before, modes = modes, _stepped(modes, np.hstack([base, slopes]), left, weight, t[-1])
        base, slopes, beta, left = _solve(t, y, weight, modes)
        if np.max(np.abs(np.subtract(modes, before))) * t[-1] < _STILL_RAD:
            break
    freedoms = max(1, len(t) - base.shape[1] - slopes.shape[1])
    amplitudes = np.hypot(beta[1::2], beta[2::2])
    envelopes = np.exp(-np.outer(t, [mode.decay for mode in modes])).reshape(len(t), -1)
    lift = envelopes @ (LIFT * amplitudes)
    share, beside = _lift_share(base, lift, left, weight)
    left = left - share * beside
    return Fit(
        modes=modes,
        swing=np.hstack([base[:, 1:], slopes]),
        lift=lift,
        lift_share=share,
        amplitudes=tuple(float(a) for a in amplitudes),
        residual=left,
        misfit=float(weight @ left**2) / freedoms,
        freedoms=freedoms,
    )


def _lift_share(
    base: Floats, lift: Floats, left: Floats, weight: Floats
) -> tuple[float, Floats]:
    """How much of the lift explains `left` best, 0…1, and what level and swing leave of it."""
    beside = lift - base @ _least_squares(base, lift, weight)
    square = float(weight @ beside**2)
    share = float(weight @ (beside * left)) / square if square > 0 else 0.0
    return _held(share, 0.0, 1.0), beside


def best_new_mode(t: Floats, residual: Floats, weight: Floats) -> Mode | None:
    """The mode of the coarse grid that brings the misfit down most; None if none fits in."""
    hz = _HZ[(_HZ * t[-1] >= 0.8) & (_HZ < 0.4 * len(t) / t[-1])]
    if not len(hz):
        return None
    rate, decay = (a.ravel() for a in np.meshgrid(2 * np.pi * hz, _DECAY_PER_S))
    wave = np.exp(np.outer(1j * rate - decay, t))
    fall = _misfit_fall(wave.real, wave.imag, residual, weight)
    best = int(np.argmax(fall))
    return Mode(float(rate[best]), float(decay[best]))


def _solve(
    t: Floats, y: Floats, weight: Floats, modes: tuple[Mode, ...]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Columns, their derivatives, the linear solution and what it leaves."""
    base, slopes = [np.ones_like(t)], []
    for mode in modes:
        wave = np.exp((1j * mode.rate - mode.decay) * t)
        base += [wave.real, wave.imag]
    columns = np.column_stack(base)
    beta = _least_squares(columns, y, weight)
    for i in range(len(modes)):
        c, s = columns[:, 1 + 2 * i], columns[:, 2 + 2 * i]
        a, b = beta[1 + 2 * i], beta[2 + 2 * i]
        slopes += [t * (b * c - a * s), -t * (a * c + b * s)]
    derivatives = np.array(slopes, dtype=np.float64).reshape(len(slopes), len(t)).T
    return columns, derivatives, beta, y - columns @ beta


def _stepped(
    modes: tuple[Mode, ...], design: Floats, left: Floats, weight: Floats, length: float
) -> tuple[Mode, ...]:
    """The modes after one Gauss-Newton step, held to what a hung mass can do."""
    step = _least_squares(design, left, weight)[1 + 2 * len(modes) :]
    reach = np.pi / max(length, 0.1)  # a quarter of a turn at the window's far end, twice
    return tuple(
        Mode(
            _held(mode.rate + _held(float(step[2 * i]), -reach, reach), 2.2, 25.0),
            _held(mode.decay + _held(float(step[2 * i + 1]), -0.4, 0.4), 0.0, 3.0),
        )
        for i, mode in enumerate(modes)
    )


def _least_squares(columns: Floats, y: Floats, weight: Floats) -> Floats:
    """Weighted least squares by the normal equations: few columns, all of size one."""
    weighted = columns.T * weight
    normal = weighted @ columns
    normal.flat[:: len(normal) + 1] *= 1 + _RIDGE
    normal.flat[:: len(normal) + 1] += _RIDGE
    return np.asarray(np.linalg.solve(normal, weighted @ y), dtype=np.float64)


def _held(x: float, low: float, high: float) -> float:
    return min(max(x, low), high)


def _misfit_fall(cosine: Floats, sine: Floats, y: Floats, weight: Floats) -> Floats:
    """How far each pair of columns brings the weighted misfit down, shape (modes,)."""
    share = weight / weight.sum()
    c = cosine - (cosine @ share)[:, None]
    s = sine - (sine @ share)[:, None]
    z = weight * (y - share @ y)
    cc, ss, cs = (c * c) @ weight, (s * s) @ weight, (c * s) @ weight
    cz, sz = c @ z, s @ z
    determinant = cc * ss - cs**2
    safe = np.where(determinant > 1e-6 * cc * ss, determinant, np.inf)
    fall: Floats = (ss * cz**2 - 2 * cs * cz * sz + cc * sz**2) / safe
    return fall
