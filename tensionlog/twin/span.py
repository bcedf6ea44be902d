"""One strung span behind a clamp: what it holds, second by second."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tensionlog.twin.clamp import Clamp
from tensionlog.twin.strings import StringLaw

_SLIP_TAKES_S = 0.02
"""How long the jaws take to let a slip through."""


@dataclass(slots=True, kw_only=True)
class HeldSpan:
    """A span between the clamp that took it and the string before it.

    Attributes:
        position: Its place in the bed.
        clamp: What took it over.
        string: The string it is made of.
        length_m: Length in the bed.
        before_n: Force as the head let off.
        top_s: When its pull came to the top, seconds on the bench's clock.
        taken_s: When the clamp took over.
        slip_mm: What the jaws let through at the take-over.
        flex_mm: How far post and base bent.
        later_mm: Sudden steps after that: (seconds on the bench's clock, mm).
        extra_n: Force gained or lost as its clamp was opened.
    """

    position: str
    clamp: Clamp
    string: StringLaw
    length_m: float
    before_n: float
    top_s: float
    taken_s: float
    slip_mm: float
    flex_mm: float = 0.0
    later_mm: list[tuple[float, float]] = field(default_factory=list)
    extra_n: float = 0.0

    @property
    def n_per_mm(self) -> float:
        """Force that a millimetre of string is worth here."""
        return self.string.ea_n / self.length_m / 1000.0

    def settle(self) -> float:
        """Let the clamp take over; return the force just after, in newtons."""
        ratio = self.n_per_mm / self.clamp.stiffness_n_per_mm
        after = (self.before_n - self.n_per_mm * self.slip_mm) / (1.0 + ratio)
        self.flex_mm = self.clamp.flex_mm(after)
        return after

    def force_n(self, at_s: float, *, pulled_from_ahead_n: float = 0.0) -> float:
        """Force at `at_s`, while something pulls the clamp from its other side."""
        return float(self.forces_n([at_s], pulled_from_ahead_n=pulled_from_ahead_n)[0])

    def forces_n(
        self, at_s: ArrayLike, *, pulled_from_ahead_n: ArrayLike = 0.0
    ) -> NDArray[np.float64]:
        """The same at many times, none before the take-over; both shapes (n,)."""
        ratio = self.n_per_mm / self.clamp.stiffness_n_per_mm
        back = self.clamp.returns * ratio
        base = self._unbent_n(np.asarray(at_s, dtype=np.float64))
        return np.asarray((base + back * np.asarray(pulled_from_ahead_n)) / (1.0 + back))

    def gain(self, newtons: float) -> None:
        """Take what flowed in as its clamp was opened."""
        ratio = self.n_per_mm / self.clamp.stiffness_n_per_mm
        self.extra_n += newtons * (1.0 + self.clamp.returns * ratio)

    def _unbent_n(self, at_s: NDArray[np.float64]) -> NDArray[np.float64]:
        left = self.string.left
        born = self.before_n / float(left(self.taken_s - self.top_s))
        force = born * left(at_s - self.top_s)
        stays_mm = self.slip_mm + (1.0 - self.clamp.returns) * self.flex_mm
        for when_s, mm in [(self.taken_s, stays_mm), *self.later_mm]:
            since = at_s - when_s
            bedding = np.clip(since / _SLIP_TAKES_S, 0.0, 1.0)
            force = force - self.n_per_mm * mm * bedding * left(since)
        run_mm = self.clamp.creep_mm_per_s * np.maximum(0.0, at_s - self.taken_s)
        return np.maximum(0.0, force - self.n_per_mm * run_mm + self.extra_n)
