"""Where on the bed the held strings' labels stand, so that none hides another."""

from collections.abc import Iterable
from typing import NamedTuple

ALONG = (0.3, 0.7, 0.15, 0.85, 0.5, 0.4, 0.6, 0.22, 0.78, 0.08, 0.92)
"""Shares of a string's length that are tried for its label, in this order."""

HALF_LONG, HALF_HIGH = 0.18, 0.04
"""Half a label along its string and across it, in shares of half the head."""


class Box(NamedTuple):
    """A label's middle and its half sizes."""

    x: float
    y: float
    half_x: float
    half_y: float

    def overlaps(self, other: "Box") -> bool:
        """Whether the two cover any point together."""
        apart_x = abs(self.x - other.x) >= self.half_x + other.half_x
        apart_y = abs(self.y - other.y) >= self.half_y + other.half_y
        return not (apart_x or apart_y)


def label_boxes(ends: Iterable[tuple[float, float, float, float]]) -> list[Box]:
    """Place one label on each string: the first free place, else the one least covered."""
    placed: list[Box] = []
    for string in ends:
        tried = [_box(string, along) for along in ALONG]
        placed.append(min(tried, key=lambda box: sum(box.overlaps(p) for p in placed)))
    return placed


def _box(ends: tuple[float, float, float, float], along: float) -> Box:
    x0, y0, x1, y1 = ends
    lies = y0 == y1
    return Box(
        x0 + along * (x1 - x0),
        y0 + along * (y1 - y0),
        HALF_LONG if lies else HALF_HIGH,
        HALF_HIGH if lies else HALF_LONG,
    )
