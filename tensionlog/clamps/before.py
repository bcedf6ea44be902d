"""The level just before the let-off, where the head does not lock.

A motor saws inside its dead band and a bar bounces: neither follows the string's law.
What the reading is at the let-off is told from the hold itself, by two kinds of guess
that are weighed by how well they explain it: a level with a dying bounce, and a curve
as smooth as the trace turns out to be (a Gaussian process).
"""

from typing import NamedTuple

import numpy as np

from tensionlog.clamps.trace import Bins, Floats

SMOOTH_S = (0.15, 0.3, 0.6, 1.2)
SWINGS = (0.02, 0.06, 0.15, 0.35, 0.8, 2.0)
"""Swings about the straight line, newtons."""

BOUNCE_HZ = tuple(np.linspace(0.4, 1.4, 26))
BOUNCE_DIES_S = (0.4, 0.8, 1.6)
MOSTLY = 0.7
UNEXPLAINED = 6.0
"""What an average that must be left out costs in log evidence."""

BOUNCE = np.array([0.0, 0.0, 0.0, 0.8, -0.2])
BOUNCE_SD = np.array([100.0, 5.0, 5.0, 0.3, 0.6])
"""Prior mean and spread of level, the bounce's two parts, hertz, ln of its dying time."""


class Level(NamedTuple):
    """A level, its standard uncertainty, and the log evidence of how it was told."""

    force: float
    u: float
    evidence: float


class Guess(NamedTuple):
    """Level and variance at the let-off, and the log evidence for it."""

    level: float
    variance: float
    evidence: float


def level_before(*, bins: Bins, at_s: float, noise: float, bounces: bool) -> Level:
    """Level at `at_s`, shortly after the last of `bins`.

    Args:
        bins: Averages of the hold, at least three.
        at_s: When the head lets off.
        noise: Standard deviation of one reading.
        bounces: Whether the head may bounce.
    """
    n_bins = bins.t_s.size
    if bounces:
        bins = _unpushed(bins, noise)
    ages = bins.t_s - at_s
    variance = noise**2 / bins.number + 1e-12
    center = float(np.mean(bins.force))
    guesses = [
        _smoothed(ages, bins.force - center, variance, swing, smooth)
        for swing in SWINGS
        for smooth in SMOOTH_S
    ]
    if bounces:
        guesses.append(_bounce(ages, bins.force - center, variance))
    evidence = np.array([g.evidence for g in guesses])
    weights = np.exp(evidence - evidence.max())
    # Against the noise alone, so that hold times of any length can be compared.
    whole = float(evidence.max() + np.log(weights.mean()) + 0.5 * np.log(variance).sum())
    whole -= UNEXPLAINED * (n_bins - bins.t_s.size)
    weights /= weights.sum()
    levels = np.array([g.level for g in guesses])
    mean = float(weights @ levels)
    spread = np.array([g.variance for g in guesses]) + (levels - mean) ** 2
    return Level(center + mean, float(np.sqrt(weights @ spread)), whole)


def _smoothed(
    ages: Floats, force: Floats, variance: Floats, swing: float, smooth_s: float
) -> Guess:
    """A curve of so much swing and smoothness about a slope."""
    everywhere = np.append(ages, 0.0)
    apart = np.abs(everywhere[:, None] - everywhere[None, :]) * np.sqrt(3.0) / smooth_s
    # A level of any height (100 N) and a slope of about 0.5 N/s, both unknown.
    kernel = 1e4 + 0.25 * np.outer(everywhere, everywhere)
    kernel = kernel + swing**2 * (1.0 + apart) * np.exp(-apart)
    known = np.linalg.cholesky(kernel[:-1, :-1] + np.diag(variance))
    seen = np.linalg.solve(known, np.column_stack([force, kernel[:-1, -1]]))
    level = float(seen[:, 1] @ seen[:, 0])
    spread = float(kernel[-1, -1] - seen[:, 1] @ seen[:, 1])
    evidence = -0.5 * float(seen[:, 0] @ seen[:, 0]) - float(np.log(np.diag(known)).sum())
    return Guess(level, spread, evidence)


def _unpushed(bins: Bins, noise: float) -> Bins:
    """The averages without those that the shutting of the clamp pushed off a bounce.

    Where no bounce fits, as under a motor, everything stays.
    """
    since, center = bins.t_s - bins.t_s[0], float(np.mean(bins.force))
    variance, theta = noise**2 / bins.number + 1e-12, None
    kept = np.ones(since.size, dtype=bool)
    for _ in range(3):
        theta = _laid(since[kept], bins.force[kept] - center, variance[kept], theta)[0]
        left = bins.force - center - _swing(theta, since)
        kept = np.abs(left) <= 4.0 * np.sqrt(variance) + 0.01
        if kept.mean() < MOSTLY:
            return bins
    return Bins(*(column[kept] for column in bins))


def _bounce(ages: Floats, force: Floats, variance: Floats) -> Guess:
    """A level and a bounce that dies away, both laid through the whole hold."""
    since = ages - ages[0]
    theta, normal, square = _laid(since, force, variance, None)
    volume = np.linalg.slogdet(normal)[1] + 2.0 * np.log(BOUNCE_SD).sum()
    at = np.array([-ages[0]])
    gradient = _slopes(theta, at)[0]
    spread = float(gradient @ np.linalg.solve(normal, gradient))
    evidence = -0.5 * (square + float(np.log(variance).sum() + volume))
    return Guess(float(_swing(theta, at)[0]), spread, evidence)


def _laid(
    since: Floats, force: Floats, variance: Floats, start: Floats | None
) -> tuple[Floats, Floats, float]:
    """The best bounce, its normal matrix and the squares that are left."""
    theta = _coarse(since, force, variance) if start is None else start
    for _ in range(8):
        miss, slopes = force - _swing(theta, since), _slopes(theta, since)
        normal = slopes.T @ (slopes / variance[:, None]) + np.diag(BOUNCE_SD**-2.0)
        pull = slopes.T @ (miss / variance) + (BOUNCE - theta) / BOUNCE_SD**2
        theta = theta + np.clip(np.linalg.solve(normal, pull), -20.0, 20.0)
        theta[3:] = np.clip(theta[3:], (0.3, -2.0), (1.6, 1.5))
    miss, away = force - _swing(theta, since), (theta - BOUNCE) / BOUNCE_SD
    return theta, normal, float(np.sum(miss**2 / variance) + away @ away)


def _coarse(since: Floats, force: Floats, variance: Floats) -> Floats:
    """The best bounce of a grid of frequencies and dying times."""
    best, found = np.inf, BOUNCE
    for hertz in BOUNCE_HZ:
        for dies_s in BOUNCE_DIES_S:
            phase, dying = 2.0 * np.pi * hertz * since, np.exp(-since / dies_s)
            design = np.column_stack([np.ones_like(since), dying * np.cos(phase)])
            design = np.column_stack([design, dying * np.sin(phase)])
            ridge = design.T @ (design / variance[:, None]) + np.diag(BOUNCE_SD[:3] ** -2.0)
            sizes = np.linalg.solve(ridge, design.T @ (force / variance))
            square = float(np.sum((force - design @ sizes) ** 2 / variance))
            if square < best:
                best, found = square, np.array([*sizes, hertz, np.log(dies_s)])
    return found


def _swing(theta: Floats, since: Floats) -> Floats:
    level, even, odd, hertz, ln_dies = theta
    phase = 2.0 * np.pi * hertz * since
    dying = np.exp(-since / np.exp(ln_dies))
    swing: Floats = level + dying * (even * np.cos(phase) + odd * np.sin(phase))
    return swing


def _slopes(theta: Floats, since: Floats) -> Floats:
    """Change of the bounce per unit of each parameter, shape (n, 5)."""
    small = 1e-5 * np.eye(5)
    return np.column_stack(
        [(_swing(theta + d, since) - _swing(theta - d, since)) / 2e-5 for d in small]
    )
