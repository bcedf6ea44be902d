"""What happens at the bench in one sitting, on one clock: forces, notes, buttons."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.device import Note
from tensionlog.twin.disturb import add
from tensionlog.twin.strings import DT_S


@dataclass(slots=True)
class Course:
    """A sitting in the making.

    Attributes:
        now_s: The bench's clock, true seconds from the first sample.
        parts: Forces at the cell, to be added up: (when each begins, its values).
        notes: What the operator noted, and when.
        events: Which button was worked, and when.
    """

    now_s: float = 3.0
    parts: list[tuple[float, NDArray[np.float64]]] = field(default_factory=list)
    notes: list[tuple[float, Note]] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.now_s += seconds

    def note(self, name: str, *, after_s: float = 0.0, **body: Any) -> None:
        """Let time pass, then note."""
        self.wait(after_s)
        self.notes.append((self.now_s, {"note": name, **body}))

    def press(self, name: str, *, after_s: float = 0.0) -> None:
        """Let time pass, then press a button that is wired to the device."""
        self.wait(after_s)
        self.events.append((self.now_s, name))

    def lay(self, at_s: float, force_n: NDArray[np.float64]) -> None:
        """Let a force act from `at_s` on."""
        self.parts.append((at_s, force_n))

    def tick_s(self) -> float:
        """The clock, on the grid of the mechanical model."""
        return round(self.now_s / DT_S) * DT_S

    def force_n(self, *, rest_s: float = 3.0) -> NDArray[np.float64]:
        """The whole force, with `rest_s` of nothing at the end."""
        force = np.zeros(round((self.now_s + rest_s) / DT_S))
        for at_s, part in self.parts:
            add(force, round(at_s / DT_S), part)
        return force
