"""The load cell and its converter: everything between a force and a count."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.twin.rng import Rng
from tensionlog.twin.strings import DT_S

FINEST_HZ = 1000.0
"""The converter is worked out on a grid at least this fine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A load cell in its mounting, with the converter behind it.

    Attributes:
        zero_counts: Empty reading that the calibration believes in.
        counts_per_n: Sensitivity that the calibration believes in; may be negative.
        mounting_n: What hook and gripper add to the empty reading at the head.
        hanging_n: What hook and hanger add where the masses hang.
        span_error: Relative error of the sensitivity; positive reads high.
        bow: Nonlinearity at `rated_n`, as a share of the force there.
        rated_n: Rated load.
        creep: Share of the load that comes late, and goes late.
        creep_s: Time constant of it.
        noise_n: White noise of one conversion.
        redness: Correlation of the noise from one conversion to the next, 0 … 0.9.
        wander_n_per_rs: Random walk of the zero, newtons per root second.
        drift_n_per_h: Steady drift of the zero.
        boxes: Lengths of the averaging boxes that make the step response, in
            conversions; they add up to about 4 (50 ms at 80/s, 400 ms at 10/s).
        adc_bits: Width of the converter, sign included.
    """

    zero_counts: int = 84211
    counts_per_n: float = 9120.0
    mounting_n: float = 0.0
    hanging_n: float = 0.0
    span_error: float = 0.0
    bow: float = 0.0
    rated_n: float = 500.0
    creep: float = 0.0002
    creep_s: float = 90.0
    noise_n: float = 0.05
    redness: float = 0.0
    wander_n_per_rs: float = 0.004
    drift_n_per_h: float = 0.0
    boxes: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0)
    adc_bits: int = 24

    @property
    def full_scale(self) -> int:
        """Greatest code of the converter."""
        return int(2 ** (self.adc_bits - 1) - 1)

    def reads_n(self, force_n: ArrayLike) -> NDArray[np.float64]:
        """Reading above zero of a settled force: span error and bow, no noise."""
        force = np.asarray(force_n, dtype=np.float64)
        return np.asarray(force * (1.0 + self.span_error + self.bow * force / self.rated_n))


class Conversion(NamedTuple):
    """What the converter delivers.

    Attributes:
        t_s: End of each conversion, true seconds from the first sample, shape (n,).
        counts: Shape (n,), integer, clipped at full scale.
        zero_n: The empty reading at each conversion, without noise.
    """

    t_s: NDArray[np.float64]
    counts: NDArray[np.int64]
    zero_n: NDArray[np.float64]


def convert(
    rng: Rng, *, cell: Cell, force_n: NDArray[np.float64], rate_hz: float
) -> Conversion:
    """Sample a force as this cell and converter would.

    Args:
        rng: Stream of the noise.
        cell: The cell.
        force_n: True force, one value per `DT_S` from the first conversion on.
        rate_hz: True rate of conversion.
    """
    seen = _converted(cell.reads_n(force_n), cell=cell, rate_hz=rate_hz)
    t = np.arange(len(seen)) / rate_hz
    zero = _zero_n(rng, cell=cell, seen=seen, rate_hz=rate_hz)
    noisy = seen + zero + _noise_n(rng, cell=cell, n=len(seen))
    counts = np.rint(cell.zero_counts + cell.counts_per_n * noisy)
    limit = cell.full_scale
    clipped = np.clip(counts, -limit - 1, limit).astype(np.int64)
    return Conversion(t, clipped, zero)


def _converted(
    force: NDArray[np.float64], *, cell: Cell, rate_hz: float
) -> NDArray[np.float64]:
    """Pass through the converter's averaging boxes, then take one value a conversion."""
    fold = max(2, int(np.ceil(FINEST_HZ / rate_hz)))
    n = int(len(force) * DT_S * rate_hz)
    fine_t = np.arange(n * fold) / (fold * rate_hz)
    fine = np.interp(fine_t, np.arange(len(force)) * DT_S, force)
    for box in cell.boxes:
        fine = _boxed(fine, max(1, round(box * fold)))
    return np.asarray(fine[::fold])


def _boxed(x: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Mean of the last `width` values; what lies before the start equals the first."""
    padded = np.concatenate([np.full(width, x[0]), x])
    total = np.cumsum(padded)
    return np.asarray((total[width:] - total[:-width]) / width)


def _zero_n(
    rng: Rng, *, cell: Cell, seen: NDArray[np.float64], rate_hz: float
) -> NDArray[np.float64]:
    n = len(seen)
    walk = np.cumsum(rng.standard_normal(n)) * cell.wander_n_per_rs / np.sqrt(rate_hz)
    drift = np.arange(n) / rate_hz * cell.drift_n_per_h / 3600.0
    late = _creep_n(cell=cell, seen=seen, rate_hz=rate_hz)
    return np.asarray(cell.mounting_n + walk + drift + late)


def _creep_n(*, cell: Cell, seen: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """What comes late and goes late, worked out ten times a second."""
    fold = max(1, round(rate_hz / 10.0))
    keep = float(np.exp(-fold / rate_hz / cell.creep_s))
    late, state = [], 0.0
    for force in seen[::fold].tolist():
        state += (cell.creep * force - state) * (1.0 - keep)
        late.append(state)
    return np.asarray(np.interp(np.arange(len(seen)), np.arange(len(late)) * fold, late))


def _noise_n(rng: Rng, *, cell: Cell, n: int) -> NDArray[np.float64]:
    """White noise, or noise that remembers a few conversions (a short moving average)."""
    if not cell.redness:
        return cell.noise_n * rng.standard_normal(n)
    taps = cell.redness ** np.arange(24)
    taps /= np.sqrt(np.sum(taps**2))
    return cell.noise_n * np.convolve(rng.standard_normal(n + 23), taps, "valid")


_BOXES = ((1.0, 1.0, 1.0, 1.0), (1.5, 1.5, 1.0), (4 / 3, 4 / 3, 4 / 3), (2.0, 1.0, 0.5, 0.5))


def draw_cell(rng: Rng) -> Cell:
    """Draw a sound cell: noise, wander, mounting and step response as benches have them."""
    return Cell(
        zero_counts=int(rng.integers(-150_000, 150_000)),
        counts_per_n=float(np.round(rng.uniform(6000.0, 12000.0), 1)),
        mounting_n=float(rng.uniform(1.0, 5.0)),
        hanging_n=float(rng.uniform(-1.0, 2.0)),
        span_error=float(rng.normal(0.0, 0.0008)),
        bow=float(rng.normal(0.0, 0.0003)),
        creep=float(rng.uniform(0.0, 0.0004)),
        noise_n=float(rng.uniform(0.03, 0.08)),
        redness=float(rng.choice([0.0, 0.0, 0.0, 0.4])),
        wander_n_per_rs=float(rng.uniform(0.002, 0.01)),
        drift_n_per_h=float(rng.normal(0.0, 0.3)),
        boxes=_BOXES[int(rng.integers(len(_BOXES)))],
    )
