"""A lockout pull made of numbers, with its truth; and the way from readings to a hold.

Everything here is written without the rooms under test, so that a mistake in them
cannot hide: the string's law, a clamp that opens in some milliseconds, a converter that
averages, white noise and a zero that walks.
"""

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from tensionlog.model.recording import Calibration
from tensionlog.pulls.finder import Stretch, StretchFinder
from tensionlog.pulls.manners import manners_of
from tensionlog.pulls.shape import Shape, shape_of

COUNTS_PER_N = 1e4
SCALE = Calibration((0.0, 1.0 / COUNTS_PER_N))
FINE = 8
"""Steps of the model in one sample."""

Changed = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True, kw_only=True)
class Pulled:
    """A pull as the cell reads it, and what really happened."""

    t_s: np.ndarray
    force_n: np.ndarray
    rate_hz: float
    start_s: float
    trip_s: float
    release_s: float
    let_off_s: float
    law_n: Callable[[float], float]
    drop_n: float
    noise_n: float
    share: float
    tau_s: float
    level_n: float


def pulled(
    seed: int = 0,
    *,
    rate_hz: float = 80.0,
    level_n: float = 250.0,
    share: float = 0.04,
    tau_s: float = 0.2,
    drop_n: float = 5.0,
    dwell_s: float = 1.5,
    after_s: float = 2.0,
    noise_n: float = 0.05,
    walk_n: float = 0.0,
    ramp_s: float = 1.0,
    before_s: float = 4.0,
    fall_s: float = 0.02,
    averages: float = 4.0,
    push_n: float = 0.0,
    idle_n: float = 3.0,
    ends_s: float = 1.5,
    changed: Changed | None = None,
) -> Pulled:
    """One pull: empty, ramp, hold with a step, let-off, empty.

    `changed(t, force)` may put anything into the true force, times from the trip.
    """
    rng = np.random.default_rng([seed, 7])
    dt = 1.0 / rate_hz / FINE
    phase = rng.uniform(0.0, 1.0 / rate_hz)
    trip = before_s + ramp_s + phase
    release, let_off = trip + dwell_s, trip + dwell_s + after_s
    t = np.arange(0.0, let_off + 0.15 + ends_s, dt)

    def law_n(at_s: float | np.ndarray) -> float | np.ndarray:
        return level_n * (1.0 - share * np.log10(1.0 + np.maximum(at_s - trip, 0.0) / tau_s))

    held = law_n(t) - drop_n * np.clip((t - release) / fall_s, 0.0, 1.0)
    held += push_n * (t > let_off - 0.14)
    ramp = level_n * 1.01 * np.clip((t - trip + ramp_s) / ramp_s, 0.0, 1.0)
    force = np.where(t < trip, ramp, held)
    if changed is not None:
        force = changed(t - trip, force)
    last = force[np.searchsorted(t, let_off) - 1]
    force = np.where(t < let_off, force, last * np.clip(1 - (t - let_off) / 0.15, 0.0, 1.0))
    size = round(averages * FINE)
    summed = np.cumsum(np.concatenate([np.zeros(size), force]))
    seen = ((summed[size:] - summed[:-size]) / size)[::FINE]
    steps = rng.normal(0.0, walk_n / np.sqrt(rate_hz), len(seen))
    seen = seen + idle_n + rng.normal(0.0, noise_n, len(seen)) + np.cumsum(steps)
    return Pulled(
        t_s=t[::FINE],
        force_n=seen,
        rate_hz=rate_hz,
        start_s=trip - ramp_s,
        trip_s=trip,
        release_s=release,
        let_off_s=let_off,
        law_n=law_n,
        drop_n=drop_n,
        noise_n=noise_n,
        share=share,
        tau_s=tau_s,
        level_n=level_n,
    )


def stretches(t_s: np.ndarray, force_n: np.ndarray, *, rate_hz: float) -> list[Stretch]:
    """What the finder makes of readings in newtons, given as counts."""
    finder = StretchFinder(newtons_per_count=1.0 / COUNTS_PER_N, rate_hz=rate_hz)
    counts = np.round(force_n * COUNTS_PER_N)
    found = [finder.push(0, float(t), float(c)) for t, c in zip(t_s, counts, strict=True)]
    return [s for s in [*found, finder.interrupt()] if s is not None]


def shape(pull: Pulled) -> Shape:
    """The landmarks of the only stretch in a pull."""
    (found,) = stretches(pull.t_s, pull.force_n, rate_hz=pull.rate_hz)
    made = shape_of(found, calibration=SCALE)
    assert made is not None
    return made


def flags(pull: Pulled, *, relaxes: bool = True) -> set[str]:
    """What the trace shows of the hand."""
    return set(manners_of(shape(pull), relaxes=relaxes).flags)


@pytest.fixture(scope="session")
def sim() -> SimpleNamespace:
    """The functions above, for tests that lie beside this file."""
    return SimpleNamespace(
        pulled=pulled,
        stretches=stretches,
        shape=shape,
        flags=flags,
        scale=SCALE,
        counts_per_n=COUNTS_PER_N,
    )
