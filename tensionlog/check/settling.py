"""The level that a hung mass comes to, read while it still swings a little.

A mass is moved by hand, lets go, swings at 0.5 to 1.5 Hz and dies down; the cell reads
the same level throughout, plus a swing that is as often above as below. So the level is
fitted together with one decaying swing, under a weight that fades to nothing at both ends
of the window (what is left of the swing, or a second one, then barely reaches it). The
window itself is chosen, not timed: of many, the one whose level is known best. A window
that reaches back into the handling misfits, a short one knows little; both lose.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BLOCK_S: Final = 0.1
SHORTEST_S: Final = 1.5
"""No window is shorter: one period of the slowest swing is 2 s, most of it must show."""

_HZ: Final = np.arange(0.4, 3.6, 0.1)
_DECAY_PER_S: Final = np.array([0.0, 0.15, 0.4, 0.9])
_MEMORY_S: Final = 0.3
"""What misfits stays on one side for about this long: a quarter of a swing."""

_WORTH_IT: Final = 12.0
"""Fall of the scaled misfit (a chi-square of four freedoms) that a swing must earn."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level read from one window.

    Attributes:
        level: The level, in the unit of the reading.
        u: Its standard uncertainty from noise and swing; the wander of zero is not in it.
        t_s: Time that it stands for.
        spread_s: Mean distance in time of two samples under the window's weight.
        start_s: Where the window begins.
        end_s: Where it ends.
        swing: Amplitude of the swing left at the window's end; 0 where none was needed.
        late_minus_early: Last third of the window less the first, swing taken out.
        u_late_minus_early: Its standard uncertainty from noise.
        n: Samples in the window.
    """

    level: float
    u: float
    t_s: float
    spread_s: float
    start_s: float
    end_s: float
    swing: float
    late_minus_early: float
    u_late_minus_early: float
    n: int


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
        reading: The samples, shape (n,), any unit.
        noise: Standard deviation of one sample, in that unit.
    """
    if len(t_s) < 8 or t_s[-1] - t_s[0] < SHORTEST_S:
        return None
    blocks = to_blocks(t_s, reading)
    fits = [
        fit
        for first, last in _windows(blocks)
        if (fit := _fit(Blocks(*(a[first:last] for a in blocks)), noise)) is not None
    ]
    return min(fits, key=lambda fit: fit.u, default=None)


def _windows(blocks: Blocks) -> list[tuple[int, int]]:
    """Ranges of blocks to try: any start, an end that leaves out at most the last 2 s."""
    t = blocks.t_s
    length = t[-1] - t[0]
    ends = [e for e in (0.0, 0.6, 1.2, 2.0) if e <= 0.25 * length]
    starts = np.linspace(t[0], t[-1] - SHORTEST_S, 16)
    found = set()
    for end in ends:
        last = int(np.searchsorted(t, t[-1] - end, side="right"))
        for start in starts:
            first = int(np.searchsorted(t, start))
            if last - first >= 8 and t[last - 1] - t[first] >= 0.9 * SHORTEST_S:
                found.add((first, last))
    return sorted(found)


def _fit(blocks: Blocks, noise: float) -> Level | None:
    """Level and swing of one window, with what is known of the level."""
    t, y, n = blocks
    length = t[-1] - t[0] + BLOCK_S
    fade = np.sin(np.pi * (t - t[0] + BLOCK_S / 2) / length) ** 2
    weight = n * fade
    columns = _swing_columns(t, y, weight, length, noise)
    design = np.column_stack([np.ones_like(t), *columns])
    weighted = design * weight[:, None]
    normal = weighted.T @ design
    if np.linalg.cond(normal) > 1e8:
        return None
    gain = np.linalg.solve(normal, weighted.T)
    beta = gain @ y
    left = y - design @ beta
    u = _level_u(left, gain[0], weight, n, noise)
    early_late, u_early_late = _early_late(t, left, n, noise)
    centre = float(gain[0] @ t)
    return Level(
        level=float(beta[0]),
        u=u,
        t_s=centre,
        spread_s=_mean_distance(t, fade * n),
        start_s=float(t[0]),
        end_s=float(t[-1]),
        swing=_amplitude_at_end(columns, beta),
        late_minus_early=early_late,
        u_late_minus_early=u_early_late,
        n=int(n.sum()),
    )


def _swing_columns(
    t: Floats, y: Floats, weight: Floats, length: float, noise: float
) -> list[Floats]:
    """Cosine and sine of the decaying swing that fits best, or nothing if none earns it."""
    hz = _HZ[(_HZ * length >= 1.0) & (_HZ < 0.4 * len(t) / length)]
    if not len(hz):
        return []
    rate, decay = (a.ravel() for a in np.meshgrid(2 * np.pi * hz, _DECAY_PER_S))
    envelope = np.exp(-np.outer(decay, t - t[-1]))
    phase = np.outer(rate, t - t[-1])
    cosine, sine = envelope * np.cos(phase), envelope * np.sin(phase)
    fall = _misfit_fall(cosine, sine, y, weight)
    best = int(np.argmax(fall))
    still = weight @ (y - weight @ y / weight.sum()) ** 2 - fall[best]
    freedom = max(1.0, len(t) - 5.0)
    per_freedom = max(noise**2, still / freedom)
    if fall[best] < _WORTH_IT * per_freedom:
        return []
    return [cosine[best], sine[best]]


def _misfit_fall(cosine: Floats, sine: Floats, y: Floats, weight: Floats) -> Floats:
    """How far each pair of columns brings the weighted misfit down, shape (models,)."""
    share = weight / weight.sum()
    c = cosine - (cosine @ share)[:, None]
    s = sine - (sine @ share)[:, None]
    z = weight * (y - share @ y)
    cc, ss, cs = (c * c) @ weight, (s * s) @ weight, (c * s) @ weight
    cz, sz = c @ z, s @ z
    determinant = cc * ss - cs**2
    safe = np.where(determinant > 1e-9 * cc * ss, determinant, np.inf)
    fall: Floats = (ss * cz**2 - 2 * cs * cz * sz + cc * sz**2) / safe
    return fall


def _level_u(left: Floats, gain: Floats, weight: Floats, n: Floats, noise: float) -> float:
    """Standard uncertainty of the level: its samples' noise, and what misfits beyond it."""
    white = noise**2 * float(gain**2 @ (1 / n))
    beyond = float(weight @ left**2 / weight.sum()) - noise**2 / float(n.mean())
    memory = 1 + 2 * _MEMORY_S / BLOCK_S
    return float(np.sqrt(white + max(0.0, beyond) * memory * float(gain @ gain)))


def _early_late(t: Floats, left: Floats, n: Floats, noise: float) -> tuple[float, float]:
    third = (t[-1] - t[0]) / 3
    early, late = t < t[0] + third, t > t[-1] - third
    if not (early.any() and late.any()):
        return 0.0, float("inf")
    difference = np.average(left[late], weights=n[late]) - np.average(
        left[early], weights=n[early]
    )
    u = noise * np.sqrt(1 / n[late].sum() + 1 / n[early].sum())
    return float(difference), float(u)


def _mean_distance(t: Floats, weight: Floats) -> float:
    """Mean |t - t'| of two samples drawn by the weight (Gini's mean difference), s."""
    share = weight / weight.sum()
    below = np.cumsum(share)
    return float(2 * np.sum(below[:-1] * (1 - below[:-1]) * np.diff(t)))


def _amplitude_at_end(columns: list[Floats], beta: Floats) -> float:
    return float(np.hypot(beta[1], beta[2])) if columns else 0.0
