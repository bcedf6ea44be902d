"""The order in which a bed is strung, and which clamp holds what meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple


class Turn(NamedTuple):
    """One string's turn.

    Attributes:
        position: The string to be pulled.
        opens: Clamp that is opened in the hold, or None.
        held: The string behind that clamp, or None.
        shuts: Clamp that takes this string.
    """

    position: str
    opens: str | None
    held: str | None
    shuts: str


def positions(*, mains: int, crosses: int, order: str = "alternate") -> tuple[str, ...]:
    """Positions in the order pulled.

    >>> positions(mains=3, crosses=1)
    ('L1', 'R1', 'R2', 'X1')
    """
    left = [f"L{i}" for i in range(1, mains // 2 + 1)]
    right = [f"R{i}" for i in range(1, mains - mains // 2 + 1)]
    if order == "alternate":
        pairs = [[*left[i : i + 1], *right[i : i + 1]] for i in range(len(right))]
        first = [p for pair in pairs for p in pair]
    else:
        first = left + right
    return (*first, *(f"X{i}" for i in range(1, crosses + 1)))


@dataclass(slots=True)
class Clamping:
    """Which clamp holds which string, as the job goes on.

    Attributes:
        left: Clamp of the left side.
        right: Clamp of the right side.
        start: What holds the start while the first side is begun.
        crosses: Clamps of the crosses, alternating from the first.
        last: Last string pulled on each side.
        on: Clamp that shut each string.
    """

    left: str = "A"
    right: str = "B"
    start: str = "B"
    crosses: str = "AB"
    last: dict[str, str] = field(default_factory=dict)
    on: dict[str, str] = field(default_factory=dict)

    def turn(self, position: str) -> Turn:
        """What is opened and shut as `position` is pulled."""
        side = position[0]
        if side in self.last:
            held = self.last[side]
            return Turn(position, self.on.get(held), held, self._planned(position))
        others = [self.last[s] for s in "LR" if s in self.last]
        if side != "X" and others:
            return Turn(position, self.start, self._first_main(), self._planned(position))
        return Turn(position, None, None, self._planned(position))

    def again(self, position: str) -> Turn:
        """The same string once more, its clamp still shut."""
        return Turn(position, self.on.get(position), position, self._planned(position))

    def shut(self, position: str, clamp: str) -> None:
        """Note that `clamp` took `position`."""
        self.last[position[0]] = position
        self.on[position] = clamp

    def _planned(self, position: str) -> str:
        if position[0] == "X":
            return self.crosses[(int(position[1:]) - 1) % len(self.crosses)]
        return self.left if position[0] == "L" else self.right

    def _first_main(self) -> str:
        return "L1" if "L" in self.last else "R1"


def swapped(order: Sequence[str], position: str) -> tuple[str, ...]:
    """The order with `position` and the next one exchanged.

    >>> swapped(("L1", "R1", "L2"), "L1")
    ('R1', 'L1', 'L2')
    """
    i = order.index(position)
    out = list(order)
    out[i : i + 2] = reversed(out[i : i + 2])
    return tuple(out)
