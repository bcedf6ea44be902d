"""Small drawings for a page: one frame, one scale, texts large enough for a phone.

They are SVG inside the page and take their colours from its style, so that one drawing
serves light, dark and paper, and no script is needed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tensionlog.report.markup import Markup, joined, tag
from tensionlog.report.svg import ticks

WIDE, HIGH = 460.0, 270.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 12.0, 26.0, 40.0

CSS: Final = (
    ".chart{width:100%;max-width:36rem;height:auto;display:block}"
    ".chart text{font:14px system-ui,'Segoe UI',Roboto,sans-serif;fill:var(--soft)}"
    ".chart .end{text-anchor:end}.chart .mid{text-anchor:middle}"
    ".chart .strong{fill:var(--ink);font-weight:650}"
    ".chart .alert{fill:var(--accent);font-weight:650}"
    ".chart path,.chart rect,.chart circle{fill:none;stroke:var(--soft);stroke-width:1}"
    ".chart .frame{stroke:var(--line)}.chart .grid{stroke:var(--line)}"
    ".chart .band{fill:var(--wash);stroke:none}"
    ".chart .edge{stroke:var(--soft);stroke-dasharray:6 4}"
    ".chart .zero{stroke:var(--faint)}"
    ".chart .line{stroke:var(--ink);stroke-width:1.4}"
    ".chart .dot{fill:var(--ink);stroke:var(--ink)}"
    ".chart .hollow{fill:var(--card);stroke:var(--ink);stroke-width:1.6}"
    ".chart .bar{stroke:var(--ink);stroke-width:1.4}"
    ".chart .bad{stroke:var(--accent);stroke-width:2.4;fill:var(--card)}"
    ".chart .mark{stroke:var(--accent);stroke-dasharray:2 3;stroke-width:1.4}"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where numbers lie in the drawing.

    Attributes:
        x: Range of the horizontal axis.
        y: Range of the vertical one.
    """

    x: tuple[float, float]
    y: tuple[float, float]

    def at_x(self, value: float) -> float:
        """Horizontal place of a value."""
        low, high = self.x
        return LEFT + (value - low) / (high - low) * (WIDE - LEFT - RIGHT)

    def at_y(self, value: float) -> float:
        """Vertical place of a value."""
        low, high = self.y
        return HIGH - BOTTOM - (value - low) / (high - low) * (HIGH - TOP - BOTTOM)


def drawn(
    frame: Frame,
    pieces: Sequence[Markup],
    *,
    described: str,
    x_labels: Sequence[tuple[float, str]],
    x_title: str,
    y_title: str,
) -> Markup:
    """A drawing with its axes.

    Args:
        frame: Where numbers lie.
        pieces: What is drawn, back to front.
        described: What it shows, for whoever does not see it.
        x_labels: Values of the horizontal axis, and what stands below each.
        x_title: What runs to the right, with its unit.
        y_title: What rises, with its unit.
    """
    bottom, right = HIGH - BOTTOM, WIDE - RIGHT
    grid = [path([(LEFT, frame.at_y(y)), (right, frame.at_y(y))], "grid") for y in _y(frame)]
    return tag(
        "svg",
        *grid,
        *pieces,
        path([(LEFT, TOP), (LEFT, bottom), (right, bottom)], "frame"),
        *(words(LEFT - 6, frame.at_y(y) + 5, f"{y:g}", "end") for y in _y(frame)),
        *(words(frame.at_x(x), bottom + 17, label, "mid") for x, label in x_labels),
        words(right, HIGH - 6, x_title, "end"),
        words(4, 15, y_title, None),
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        class_="chart",
        role="img",
        aria_label=described,
    )


def _y(frame: Frame) -> list[float]:
    return [round(y, 9) for y in ticks(*frame.y)]


def path(points: Sequence[tuple[float, float]], kind: str) -> Markup:
    """A line through places."""
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return tag("path", d=f"M{steps}", class_=kind)


def words(x: float, y: float, said: str, kind: str | None) -> Markup:
    """A line of text at a place."""
    return tag("text", said, x=f"{x:.1f}", y=f"{y:.1f}", class_=kind)


def disc(x: float, y: float, kind: str, *, size: float = 4.5) -> Markup:
    """A round point."""
    return tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{size:g}", class_=kind)


def cross(x: float, y: float, kind: str, *, size: float = 6.0) -> Markup:
    """A point that is not like the others, told by its shape."""
    return joined(
        (
            path([(x - size, y - size), (x + size, y + size)], kind),
            path([(x - size, y + size), (x + size, y - size)], kind),
        )
    )
