"""Which samples belong to which load, and the level that each load came to."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import Final

import numpy as np

from tensionlog.check.cleaning import Clean, Floats, noise_sd
from tensionlog.check.result import Load
from tensionlog.check.settling import Level, settled_level, to_blocks
from tensionlog.check.verdict import Tolerance

HANDS_ON_S: Final = 0.3
"""The operator is at the mass a moment before the next load is named."""

U_OF_TOLERANCE: Final = 0.25
"""A level is stable when its standard uncertainty is at most this share of the tolerance:
beyond it the guard band would eat half of what is allowed."""

SWING_OF_LOAD: Final = 0.05
"""A mass still swinging by more of its load than this is not read at all."""


_LEAST_NOISE_N: Final = 1e-4
"""No reading is without noise; one that seems so is coarse, stuck or made up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One load on the cell.

    Attributes:
        load: What was named.
        level: What it came to, in newtons or provisional newtons; None if never stable.
    """

    load: Load
    level: Level | None


def noise_of(samples: Clean, step_n: float) -> float:
    """Standard deviation of one sample, newtons, as far as it averages out.

    Where neighbouring samples share noise, means of them are noisier than one sample
    lets expect; the larger figure counts.

    Args:
        samples: Clean samples, the reading in newtons.
        step_n: The reading's own resolution.
    """
    if len(samples.t_s) < 2:
        return _LEAST_NOISE_N
    blocks = to_blocks(samples.t_s, samples.reading)
    of_means = noise_sd(blocks.mean) * sqrt(float(np.mean(blocks.n)))
    return max(noise_sd(samples.reading), of_means, step_n / sqrt(12), _LEAST_NOISE_N)


def find_visits(
    *,
    samples: Clean,
    loads: Sequence[Load],
    start_s: float,
    end_s: float,
    tolerance: Tolerance,
    force_of: Sequence[float],
    noise_n: float,
) -> list[Visit]:
    """The level of every load, the empty cell before the first one too.

    Args:
        samples: Clean samples, the reading in newtons.
        loads: In order of time.
        start_s: When the check begins.
        end_s: When the last load ends.
        tolerance: What a stable level is measured against.
        force_of: Reference force of each load, newtons.
        noise_n: Standard deviation of one sample.
    """
    opening = [] if loads and loads[0].is_empty else [Load(start_s, mass_kg=0.0)]
    forces = [*(0.0 for _ in opening), *force_of]
    named = [*opening, *loads]
    edges = [*(max(load.t_s, start_s) for load in named), end_s]
    edges[0] = start_s if named[0].is_empty else edges[0]
    return [
        Visit(load=load, level=_level(samples, begin, end, noise_n, tolerance, force))
        for load, force, (begin, end) in zip(named, forces, pairwise(edges), strict=True)
    ]


def _level(
    samples: Clean, begin: float, end: float, noise: float, tolerance: Tolerance, force: float
) -> Level | None:
    first, last = np.searchsorted(samples.t_s, [begin, end - HANDS_ON_S])
    t: Floats = samples.t_s[first:last]
    level = settled_level(t_s=t, reading=samples.reading[first:last], noise=noise)
    if level is None or not is_stable(level, tolerance_n=tolerance.at_n(force), load_n=force):
        return None
    return level


def is_stable(
    level: Level, *, tolerance_n: float, load_n: float, share: float = U_OF_TOLERANCE
) -> bool:
    """Whether a level is known well enough to be captured.

    Args:
        level: What was read.
        tolerance_n: The bench's tolerance at this load.
        load_n: The load.
        share: Of the tolerance that the standard uncertainty may take.
    """
    swing_allowed = SWING_OF_LOAD * abs(load_n) + tolerance_n
    return level.u <= share * tolerance_n and level.swing <= swing_allowed
