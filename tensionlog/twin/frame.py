"""The frame: how long each string is, and what friction lets pass round its bends."""

from dataclasses import dataclass
from math import sqrt

from tensionlog.twin.rng import Rng

HEAD_M = {"tennis": (0.335, 0.255), "squash": (0.350, 0.210), "badminton": (0.245, 0.190)}
"""Length and width of an invented frame's head, metres."""


def chord_m(*, index: int, strings_across: int, along_m: float) -> float:
    """Length of string number `index` of `strings_across` in an elliptic head.

    >>> round(chord_m(index=0, strings_across=1, along_m=0.3), 3)
    0.3
    """
    x = ((index + 0.5) / strings_across * 2.0 - 1.0) * 0.93
    return along_m * sqrt(max(1.0 - x * x, 0.05))


def span_m(position: str, *, mains: int, crosses: int, long_m: float, wide_m: float) -> float:
    """Length of the string at `position` (`L1`, `R3`, `X12`), metres."""
    number = int(position[1:])
    if position[0] == "X":
        return chord_m(index=number - 1, strings_across=crosses, along_m=wide_m)
    left = mains // 2  # with an odd number of mains the extra one is right
    index = left - number if position[0] == "L" else left + number - 1
    return chord_m(index=index, strings_across=mains, along_m=long_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What opening a clamp does to the two strings that it lets meet.

    Attributes:
        drop_n: Fall of the force on the head's side; negative where it rises.
        held_n: Force in the held span afterwards.
        stiffness_left: Stiffness that a head which pulls on then meets, as a share of the
            stiffness before: it drags the held span along.
    """

    drop_n: float
    held_n: float
    stiffness_left: float = 1.0


def open_clamp(
    *, head_n: float, held_n: float, head_m: float, held_m: float, phi: float
) -> Step:
    """Let the held span and the head's side meet round a bend that passes `phi`.

    String moves only when one side out-pulls the other through the friction, and stops
    as soon as it no longer does. The head does not move meanwhile.

    Args:
        head_n: Force on the head's side before.
        held_n: Force in the held span before.
        head_m: Length on the head's side, tail included.
        held_m: Length of the held span.
        phi: Share of a force that passes round the bend, 0…1.
    """
    if held_n < phi * head_n:
        drop = held_m * (phi * head_n - held_n) / (head_m + phi * held_m)
        left = head_m / (head_m + phi * held_m)
        return Step(drop_n=drop, held_n=held_n + drop * head_m / held_m, stiffness_left=left)
    if phi * held_n > head_n:
        rise = held_m * (phi * held_n - head_n) / (held_m + phi * head_m)
        return Step(drop_n=-rise, held_n=held_n - rise * head_m / held_m)
    return Step(drop_n=0.0, held_n=held_n)


@dataclass(frozen=True, slots=True, kw_only=True)
class Friction:
    """What passes round the frame on this bench.

    Attributes:
        rest: Share that passes round the two bends between neighbours, at rest.
        shaken: The same while the opening clamp shakes the bend, on the average.
        scatter: Standard deviation of `shaken` from release to release.
        exit: Share that passes the exit grommet alone (10–30° of bend).
        weave: Extra share in woven crosses, multiplied on.
    """

    rest: float
    shaken: float
    scatter: float
    exit: float
    weave: tuple[float, float]

    def at_release(self, rng: Rng, *, is_cross: bool, same_string: bool) -> float:
        """Draw what passes in one release."""
        if same_string:
            return min(0.99, max(0.8, float(rng.normal(self.exit, 0.01))))
        phi = min(0.965, max(self.rest, float(rng.normal(self.shaken, self.scatter))))
        return phi * float(rng.uniform(*self.weave)) if is_cross else phi


def draw_friction(rng: Rng) -> Friction:
    """Draw a bench's friction inside the bands that benches show."""
    return Friction(
        rest=float(rng.uniform(0.4, 0.7)),
        shaken=float(rng.uniform(0.86, 0.94)),
        scatter=float(rng.uniform(0.005, 0.02)),
        exit=float(rng.uniform(0.92, 0.97)),
        weave=(0.55, 0.95),
    )
