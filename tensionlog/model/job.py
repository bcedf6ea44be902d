"""The ticket of a job, as the `job-start` note carries it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

ORDERS = ("alternate", "left-then-right", "sequence")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be strung, and how.

    Attributes:
        ref: The workshop's own reference.
        sport: Free text.
        mains: Number of mains.
        crosses: Number of crosses.
        target_mains_n: Ordered tension of the mains, newtons, or None.
        target_crosses_n: Ordered tension of the crosses, newtons, or None.
        targets_n: Targets of single positions, newtons; they come first.
        sequence: Positions in the order pulled.
        clamp_left: Clamp of the left side, or None.
        clamp_right: Clamp of the right side, or None.
        clamp_start: What holds the start while the first side is begun, or None.
        clamps_crosses: Clamps of the crosses, taken in turn from the first.
        ea_mains_n: Axial stiffness of the mains at tension, newtons per unit strain.
        ea_crosses_n: The same of the crosses.
        u_ea_pct: One standard uncertainty of both stiffnesses, per cent.
        spans_m: Length of string in the bed by position, metres.
        raw: The whole ticket as it stands in the note (owner, frame, string, …).
    """

    ref: str
    sport: str
    mains: int
    crosses: int
    target_mains_n: float | None
    target_crosses_n: float | None
    targets_n: Mapping[str, float]
    sequence: tuple[str, ...]
    clamp_left: str | None
    clamp_right: str | None
    clamp_start: str | None
    clamps_crosses: tuple[str, ...]
    ea_mains_n: float | None
    ea_crosses_n: float | None
    u_ea_pct: float
    spans_m: Mapping[str, float]
    raw: Mapping[str, Any] = field(default_factory=dict)

    def target_n(self, position: str) -> float | None:
        """Ordered tension at `position`, in newtons, or None where nobody ordered one."""
        if position in self.targets_n:
            return self.targets_n[position]
        return self.target_crosses_n if position.startswith("X") else self.target_mains_n

    def ea_n(self, position: str) -> float | None:
        """Axial stiffness at `position`, in newtons per unit strain, or None."""
        return self.ea_crosses_n if position.startswith("X") else self.ea_mains_n
