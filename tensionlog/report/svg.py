"""Pieces of an SVG text: places in its own units, looks by class, light and dark."""

from collections.abc import Sequence

from tensionlog.report.look import DARK, FONT, LIGHT
from tensionlog.report.markup import Markup, tag

BETWEEN_LABELS = 19.0
"""Least distance between the base lines of two labels."""


def rect(x: float, y: float, wide: float, high: float, kind: str | None) -> Markup:
    """Write a rectangle."""
    place = {"x": f"{x:g}", "y": f"{y:g}", "width": f"{wide:g}", "height": f"{high:g}"}
    return tag("rect", class_=kind, **place)


def stroke(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    """Write a straight line."""
    return tag("path", d=f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}", class_=kind)


def text(x: float, y: float, said: str, kind: str | None) -> Markup:
    """Write a line of text that begins, ends or has its middle at `x`, by its class."""
    return tag("text", said, x=f"{x:.1f}", y=f"{y:.1f}", class_=kind)


def ticks(low: float, high: float) -> list[float]:
    """Round numbers inside a range, five at most."""
    steps = (step * 10.0**power for power in range(-3, 9) for step in (1.0, 2.0, 5.0))
    step = next((s for s in steps if (high - low) / s <= 5.0), high - low)
    first = int(low // step) + 1
    return [n * step for n in range(first, int(high // step) + 1)]


def apart(places: Sequence[float], *, lowest: float) -> list[float]:
    """Move labels apart, downwards and then back up above `lowest`.

    >>> apart([100.0, 104.0, 300.0], lowest=350.0)
    [100.0, 119.0, 300.0]
    """
    moved: list[float] = []
    for place in places:
        moved.append(max(place, moved[-1] + BETWEEN_LABELS) if moved else place)
    limit = lowest
    for i in reversed(range(len(moved))):
        moved[i] = min(moved[i], limit)
        limit = moved[i] - BETWEEN_LABELS
    return moved


def shortened(said: str, letters: int) -> str:
    """Cut a text that would leave the picture; the cut is seen.

    >>> shortened("a long remark", 7)
    'a long…'
    """
    return said if len(said) <= letters else f"{said[: letters - 1].rstrip()}…"


def style() -> str:
    """Colours by class, dark ones where the reader's system asks for them."""
    dark = _colours(DARK)
    return f"{SHAPES}{_colours(LIGHT)}@media (prefers-color-scheme:dark){{{dark}}}"


def _colours(palette: dict[str, str]) -> str:
    ink, soft, line, accent = (palette[f"--{n}"] for n in ("ink", "soft", "line", "accent"))
    card = palette["--card"]
    return (
        f".paper{{fill:{card}}}text{{fill:{ink}}}.soft{{fill:{soft}}}.halo{{stroke:{card}}}"
        f".frame,.grid{{stroke:{line}}}.moment,.leader,path.expected{{stroke:{soft}}}"
        f".trace,path.target,path.top{{stroke:{ink}}}.dot{{stroke:{ink};fill:{ink}}}"
        f".hollow{{fill:{card}}}.arrow,path.release{{stroke:{accent}}}"
    )


SHAPES = (
    f"text{{font:16px {FONT}}}.title{{font-size:20px;font-weight:650}}"
    ".soft{font-size:14px}.small{font-size:12px}.end{text-anchor:end}"
    ".middle{text-anchor:middle}path,.frame{fill:none;stroke-width:1}"
    ".trace{stroke-width:2;stroke-linejoin:round}.arrow{stroke-width:2.5}"
    "path.target{stroke-width:1.8;stroke-dasharray:8 5}"
    "path.expected{stroke-width:1.8;stroke-dasharray:1.5 4}"
    "path.release,path.top{stroke-width:1.2}.moment{stroke-dasharray:3 4}"
    "text.release{font-weight:650}.halo{stroke-width:5;paint-order:stroke;font-weight:650}"
)
