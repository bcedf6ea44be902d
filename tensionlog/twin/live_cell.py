"""The cell and its converter while things still happen: a few conversions at a time."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.cell import FINEST_HZ, Cell
from tensionlog.twin.rng import Rng

Forces = NDArray[np.float64]


class LiveCell:
    """Converts what the operator does as it is done; `cell.convert` needs all of it first.

    Attributes:
        fold: Forces per conversion that `counts` wants.
    """

    def __init__(self, rng: Rng, *, cell: Cell, rate_hz: float) -> None:
        """Be ready for the first conversion.

        Args:
            rng: Stream of the noise.
            cell: The cell.
            rate_hz: True rate of conversion.
        """
        self.fold = max(2, int(np.ceil(FINEST_HZ / rate_hz)))
        self.cell = cell
        self._rng, self._rate_hz = rng, rate_hz
        kernel: Forces = np.ones(1)
        for box in cell.boxes:
            wide = max(1, round(box * self.fold))
            kernel = np.convolve(kernel, np.full(wide, 1.0 / wide))
        self._kernel = kernel
        self._past: Forces | None = None
        self._walk_n = self._late_n = 0.0
        self._done = 0

    def counts(self, force_n: Forces) -> list[int]:
        """Convert, going on from what was converted before.

        Args:
            force_n: True force at the cell, `fold` values a conversion, shape (k · fold,).
        """
        seen = self._filtered(self.cell.reads_n(force_n))[self.fold - 1 :: self.fold]
        noise = self.cell.noise_n * self._rng.standard_normal(len(seen))
        raw = np.rint(
            self.cell.zero_counts + self.cell.counts_per_n * (seen + self._zero_n(seen) + noise)
        )
        limit = self.cell.full_scale
        return [int(c) for c in np.clip(raw, -limit - 1, limit)]

    def _filtered(self, force: Forces) -> Forces:
        if self._past is None:
            self._past = np.full(len(self._kernel) - 1, force[0])
        joined = np.concatenate([self._past, force])
        self._past = joined[len(joined) - (len(self._kernel) - 1) :]
        return np.asarray(np.convolve(joined, self._kernel, "valid"))

    def _zero_n(self, seen: Forces) -> Forces:
        """Mounting, walk, drift and what comes late, conversion by conversion."""
        cell, n = self.cell, len(seen)
        step = cell.wander_n_per_rs / np.sqrt(self._rate_hz)
        walk = self._walk_n + np.cumsum(self._rng.standard_normal(n)) * step
        self._walk_n = float(walk[-1]) if n else self._walk_n
        hours = (self._done + np.arange(n)) / self._rate_hz / 3600.0
        self._done += n
        late = np.empty(n)
        share = 1.0 - float(np.exp(-1.0 / self._rate_hz / cell.creep_s))
        for i, force in enumerate(seen.tolist()):
            self._late_n += (cell.creep * force - self._late_n) * share
            late[i] = self._late_n
        return np.asarray(cell.mounting_n + walk + cell.drift_n_per_h * hours + late)
