"""The empty reading before a pull: what the cell shows while nothing pulls."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.order import median, quantile

Floats = NDArray[np.float64]

BLOCK_S = 0.3
MOST_BLOCKS = 8
"""The zero is the mean of the last eight calm blocks of 0.3 s: long against the noise,
short against its wander."""

EMPTY_WITHIN_N = 1.5
"""Blocks this many deviations of the noise around the lowest third are empty too."""

SLACK_S = 1.8
"""Slack is held by hand for a second or so; a level that lasts longer is no slack."""

MOST_RISING = 3
"""So many blocks may belong to the rise already: a slow pull begins gently."""


def empty_reading(
    t: Floats, force: Floats, first: int, noise: float
) -> tuple[float, float, float]:
    """Level, standard uncertainty and time of the quiet empty reading before `first`.

    Slack that is taken up by hand only adds force, plucks and knocks come and go: of the
    blocks before the rise those near the lowest third are empty, and of these the last
    few are taken, because the zero wanders. A level that lasts longer than any slack up to
    the rise is another mounting's, and the empty one.
    """
    stop = int(np.searchsorted(t, t[first] - 0.25))
    size = max(3, round(BLOCK_S / max(median(np.diff(t[: first + 2])), 1e-6)))
    count = stop // size
    if count < 2:
        some = force[: max(1, stop)]
        u = max(float(some.std()), noise) / np.sqrt(len(some))
        return median(some), float(u), float(t[: len(some)].mean())
    blocks = force[stop - count * size : stop].reshape(count, size)
    times = t[stop - count * size : stop].reshape(count, size).mean(axis=1)
    middle, spread = np.median(blocks, axis=1), blocks.std(axis=1)
    within = max(5.0 * noise / np.sqrt(size), EMPTY_WITHIN_N * noise)
    lowest = _empty_level(middle, within=within, most_slack=int(SLACK_S / BLOCK_S))
    near = np.abs(middle - lowest) <= within
    calm = near & (spread <= 2.5 * max(noise, median(spread)))
    if not calm.any():
        calm = np.abs(middle - lowest) <= np.abs(middle - lowest).min()
    chosen = np.flatnonzero(calm)[-MOST_BLOCKS:]
    level = float(blocks[chosen].mean())
    scatter = float(middle[chosen].std()) / np.sqrt(len(chosen))
    u = max(noise / np.sqrt(len(chosen) * size), scatter if len(chosen) > 3 else 0.0)
    return level, float(u), float(times[chosen].mean())


def _empty_level(middle: Floats, *, within: float, most_slack: int) -> float:
    """Level of the empty blocks before a rise: the lowest third, or a newer mounting's."""
    for end in range(len(middle), max(len(middle) - MOST_RISING, most_slack) - 1, -1):
        steady = _steady_at_end(middle[:end], within=within)
        if steady > most_slack:
            return quantile(middle[end - steady : end], 0.3)
    return quantile(middle, 0.3)


def _steady_at_end(middle: Floats, *, within: float) -> int:
    """How many of the last blocks lie at one level."""
    away = np.flatnonzero(np.abs(middle - median(middle[-3:])) > within)
    return len(middle) - 1 - int(away[-1]) if len(away) else len(middle)
