"""The loss of every string, laid out over the bed as the stringer sees it."""

import html
import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import plotly.graph_objects as go

from tensionlog.report.bed_labels import Box, label_boxes
from tensionlog.report.look import ACCENT, CARD, FAINT, INK, LINE, SOFT, layout
from tensionlog.report.rounding import ABSENT, Reader, fixed, millimetres
from tensionlog.report.rows import Row, rows, standing, vouched
from tensionlog.report.view import JobView
from tensionlog.report.words import STATE_WORDS

REACH = 0.93
"""The outermost string lies at this share of the half width: the wire page's formula."""

WIDE_BY_LONG = 0.79
"""Shape of the drawn head where the ticket does not give one (common practice, no source)."""

MARGIN_PX = {"l": 40, "r": 52, "t": 40, "b": 58}


class Line(NamedTuple):
    """One string of the bed, in shares of the head's half width and half length.

    Attributes:
        name: Its position.
        ends: (x0, y0, x1, y1).
        state: A key of `words.STATE_WORDS`, or `missing`.
        text: What is printed at its end.
        over: Whether it reads above what was to be expected; None where within or unknown.
        hover: What is said when it is pointed at.
        at_least: What is printed on it as the held string, or None.
    """

    name: str
    ends: tuple[float, float, float, float]
    state: str
    text: str
    over: bool | None
    hover: str
    at_least: str | None


@dataclass(frozen=True, slots=True)
class Bed:
    """The whole bed.

    Attributes:
        lines: Every planned string.
        wide_by_long: Width of the head over its length.
        measured_shape: Whether the ticket gave the head's size.
        crosses_from: `top` or `bottom`.
        shows: What the numbers at the ends are.
    """

    lines: tuple[Line, ...]
    wide_by_long: float
    measured_shape: bool
    crosses_from: str
    shows: str


def bed_info(view: JobView) -> Bed:
    """Lay every planned string out, with the number that stands for it."""
    reader = view.reader
    by_name = {row.name: row for row in standing(rows(view))}
    lines = (
        _line(name, ends, by_name.get(name), reader) for name, ends in _places(view).items()
    )
    shape = _shape(view)
    return Bed(
        lines=tuple(lines),
        wide_by_long=shape or WIDE_BY_LONG,
        measured_shape=shape is not None,
        crosses_from=view.crosses_from,
        shows="loss" if view.is_calibrated else "evenness",
    )


def offsets(n: int) -> list[float]:
    """Where `n` strings lie across the head, −0.93 to 0.93 in shares of its half width."""
    return [((i + 0.5) / n * 2 - 1) * REACH for i in range(n)]


def _places(view: JobView) -> dict[str, tuple[float, float, float, float]]:
    ends: dict[str, tuple[float, float, float, float]] = {}
    half = view.job.mains // 2  # with an odd number the extra one is right
    for i, x in enumerate(offsets(view.job.mains)):
        name = f"L{half - i}" if i < half else f"R{i - half + 1}"
        ends[name] = (x, -_chord(x), x, _chord(x))
    sign = 1.0 if view.crosses_from == "top" else -1.0
    for i, y in enumerate(offsets(view.job.crosses)):
        ends[f"X{i + 1}"] = (-_chord(y), -sign * y, _chord(y), -sign * y)
    return ends


def _chord(across: float) -> float:
    """Half a chord of an ellipse, kept off the tip."""
    return math.sqrt(max(1.0 - across**2, 0.05))


def _shape(view: JobView) -> float | None:
    wide, long = view.job.raw.get("head_wide_m"), view.job.raw.get("head_long_m")
    if isinstance(wide, int | float) and isinstance(long, int | float) and long > 0:
        return min(max(wide / long, 0.5), 1.0)
    return None


def _line(
    name: str, ends: tuple[float, float, float, float], row: Row | None, reader: Reader
) -> Line:
    if row is None:
        return Line(name, ends, "missing", "", None, f"{name}: no pull", None)
    clear = row.state in ("off", "look") and row.off is not None
    return Line(
        name=name,
        ends=ends,
        state=row.state,
        text=_text(row, reader),
        over=row.off > 0 if clear and row.off is not None else None,
        hover=_hover(row, reader),
        at_least=_at_least(row, reader),
    )


def _text(row: Row, reader: Reader) -> str:
    """The loss; without a calibration, how even the string is with its fellows."""
    if row.unit != "counts":
        return reader.bare(row.loss, row.reading_u)
    return ABSENT if row.even_pct is None else fixed(row.even_pct, 1)


def _at_least(row: Row, reader: Reader) -> str | None:
    if not row.held_lost or not vouched(row.held_lost, reader):
        return None
    if row.held_give_mm is not None:
        return f"≥ {millimetres(row.held_give_mm)}"
    return f"≥ {reader.amount(row.held_lost)}"


def _hover(row: Row, reader: Reader) -> str:
    said = [f"<b>{html.escape(row.name)}</b> · {STATE_WORDS[row.state]}"]
    if row.loss is not None:
        said.append(f"loss {reader.full(row.loss, row.reading_u)}")
    said.append(f"reading {reader.full(row.pull.release, row.reading_u)}")
    if row.off_pct is not None:
        said.append(f"{fixed(row.off_pct, 1)} % from the {row.against}")
    if row.held_lost and vouched(row.held_lost, reader):
        said.append(f"then lost at least {reader.amount(row.held_lost)} in its clamp")
    return "<br>".join(said)


STROKES: dict[str, dict[str, Any]] = {
    "within": {"color": SOFT, "width": 1.3},
    "off": {"color": INK, "width": 2.2, "dash": "7px,4px"},
    "look": {"color": ACCENT, "width": 5.5},
    "unjudged": {"color": SOFT, "width": 1.3},
    "missing": {"color": FAINT, "width": 1, "dash": "1px,5px"},
}
"""Each state has its own width and dash; the accent only repeats what they say."""


def bed_figure(bed: Bed) -> go.Figure:
    """Draw the bed; numbers of the mains stand below, of the crosses at the right."""
    axis = {"visible": False, "range": [-1.06, 1.06], "fixedrange": True}
    ground = layout(
        margin=MARGIN_PX,
        annotations=_labels(bed),
        meta={"ratio": 1.0 / bed.wide_by_long},
        xaxis=axis,
        yaxis=axis,
    )
    strokes = [_strokes(bed, state) for state in STROKES]
    return go.Figure([_outline(), *strokes, _held(bed), _marks(bed)], ground)


def _outline() -> go.Scatter:
    turn = np.linspace(0.0, 2.0 * np.pi, 121)
    return go.Scatter(
        x=1.04 * np.cos(turn).round(4),
        y=1.04 * np.sin(turn).round(4),
        mode="lines",
        line={"color": LINE, "width": 7},
        hoverinfo="skip",
        name="head",
    )


def _strokes(bed: Bed, state: str) -> go.Scatter:
    ends = [line.ends for line in bed.lines if line.state == state]
    x = [v for x0, _, x1, _ in ends for v in (x0, x1, None)]
    y = [v for _, y0, _, y1 in ends for v in (y0, y1, None)]
    return go.Scatter(x=x, y=y, mode="lines", line=STROKES[state], hoverinfo="skip", name=state)


def _held(bed: Bed) -> go.Scatter:
    """Beads along each string that its clamp is known to have let go of."""
    beads = [line.ends for line in bed.lines if line.at_least]
    steps = np.linspace(0.08, 0.92, 11)
    x = [x0 + s * (x1 - x0) for x0, _, x1, _ in beads for s in steps]
    y = [y0 + s * (y1 - y0) for _, y0, _, y1 in beads for s in steps]
    marker = {"symbol": "circle-open", "size": 7, "color": INK, "line": {"width": 1.6}}
    return go.Scatter(x=x, y=y, mode="markers", marker=marker, hoverinfo="skip", name="held")


def _marks(bed: Bed) -> go.Scatter:
    """A symbol at the numbered end of each string: what kind, and where to point."""
    lines = [line for line in bed.lines if line.state != "missing"]
    return go.Scatter(
        x=[_numbered_end(line)[0] for line in lines],
        y=[_numbered_end(line)[1] for line in lines],
        mode="markers",
        marker={
            "symbol": [_symbol(line) for line in lines],
            "size": [11 if line.state in ("off", "look") else 6 for line in lines],
            "color": [ACCENT if line.state == "look" else INK for line in lines],
            "opacity": 1,
        },
        text=[line.hover for line in lines],
        hovertemplate="%{text}<extra></extra>",
        name="ends",
    )


def _numbered_end(line: Line) -> tuple[float, float]:
    x0, y0, x1, _ = line.ends
    return (x1, y0) if line.name.startswith("X") else (x0, y0)


def _symbol(line: Line) -> str:
    if line.over is not None:
        return "triangle-up" if line.over else "triangle-down"
    return {"look": "diamond", "unjudged": "circle-open"}.get(line.state, "circle")


def _labels(bed: Bed) -> list[dict[str, Any]]:
    held = [line for line in bed.lines if line.at_least]
    boxes = label_boxes(line.ends for line in held)
    ends = [label for line in bed.lines for label in _line_labels(line)]
    return ends + [_held_label(line, box) for line, box in zip(held, boxes, strict=True)]


def _line_labels(line: Line) -> list[dict[str, Any]]:
    cross = line.name.startswith("X")
    x0, y0, _, _ = line.ends
    loud = {"color": ACCENT if line.state == "look" else INK, "size": 12}
    name = f"<b>{line.name}</b>" if line.state == "look" else line.name
    text = f"<b>{line.text}</b>" if line.state == "look" else line.text
    if cross:
        at = {"xref": "paper", "y": y0, "showarrow": False}
        first = {**at, "x": 0, "xanchor": "right", "text": name, "font": {"size": 11.5}}
        last = {**at, "x": 1, "xanchor": "left", "text": text, "font": loud}
    else:
        at = {"yref": "paper", "x": x0, "showarrow": False, "textangle": -90}
        first = {**at, "y": 1, "yanchor": "bottom", "text": name, "font": {"size": 11.5}}
        last = {**at, "y": 0, "yanchor": "top", "text": text, "font": loud}
    return [first, last]


def _held_label(line: Line, box: Box) -> dict[str, Any]:
    return {
        "x": box.x,
        "y": box.y,
        "text": line.at_least,
        "showarrow": False,
        "textangle": 0 if line.name.startswith("X") else -90,
        "bgcolor": CARD,
        "bordercolor": INK,
        "borderwidth": 1,
        "borderpad": 2,
        "font": {"size": 12, "color": INK},
    }
