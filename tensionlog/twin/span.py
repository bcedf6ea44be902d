"""One strung span behind a clamp: what it holds, second by second."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.clamp import Clamp
from tensionlog.twin.strings import DT_S, StringLaw

_SLIP_TAKES_S = 0.02
"""How long the jaws take to let a slip through."""

_ROUNDS = 6


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
        after = (self.before_n - self.n_per_mm * self.slip_mm) / (1.0 + self._ratio)
        self.flex_mm = self.clamp.flex_mm(after)
        return after

    def force_n(self, at_s: float, *, pulled_from_ahead_n: float = 0.0) -> float:
        """Force at `at_s`, while something pulls the clamp from its other side.

        The flex of the take-over relaxes as every stretch does; what comes back of it
        through the pull from ahead is taken to have just come.
        """
        left, since_s = self.string.left, at_s - self.taken_s
        force = self._born_n * float(left(at_s - self.top_s)) + self.extra_n
        for when_s, mm in self._gone_mm():
            force -= self.n_per_mm * mm * float(left(at_s - when_s)) * (at_s >= when_s)
        force -= self.n_per_mm * self.clamp.creep_mm_per_s * since_s
        recovered = self.n_per_mm * self._elastic_mm * (1.0 - float(left(since_s)))
        back = self.clamp.returns * self._ratio
        return max(0.0, (force + recovered + back * pulled_from_ahead_n) / (1.0 + back))

    def history_n(self, pulled_from_ahead_n: NDArray[np.float64]) -> NDArray[np.float64]:
        """Force from the take-over on, by superposition of all that moves.

        The post's bend depends on the force and the force on the bend, so the two are
        found in a few rounds; each brings them nearer by the ratio of the stiffnesses.

        Args:
            pulled_from_ahead_n: What pulls the clamp from its other side, one value per
                step of the model, shape (n,).
        """
        t = np.arange(len(pulled_from_ahead_n)) * DT_S
        alone = self._born_n * self.string.left(t + self.taken_s - self.top_s)
        gone_mm = self.clamp.creep_mm_per_s * t
        for when_s, mm in self._gone_mm():
            since = t + self.taken_s - when_s
            gone_mm += mm * np.clip(since / _SLIP_TAKES_S, 0.0, 1.0)
        share = self.clamp.returns / self.clamp.stiffness_n_per_mm
        force = alone
        for _ in range(_ROUNDS):
            moved_mm = gone_mm + share * (force - pulled_from_ahead_n)
            given = self.string.respond(np.diff(moved_mm, prepend=0.0))
            force = np.maximum(0.0, alone - self.n_per_mm * given)
        return force

    def gain(self, newtons: float) -> None:
        """Take what flowed in as its clamp was opened."""
        self.extra_n += newtons * (1.0 + self.clamp.returns * self._ratio)

    @property
    def _ratio(self) -> float:
        return self.n_per_mm / self.clamp.stiffness_n_per_mm

    @property
    def _born_n(self) -> float:
        """The pull that would have left `before_n` at the take-over."""
        return self.before_n / float(self.string.left(self.taken_s - self.top_s))

    @property
    def _elastic_mm(self) -> float:
        return self.clamp.returns * self.flex_mm

    def _gone_mm(self) -> list[tuple[float, float]]:
        """What never comes back: (when, millimetres)."""
        stays_mm = self.slip_mm + self.flex_mm - self._elastic_mm
        return [(self.taken_s, stays_mm), *self.later_mm]
