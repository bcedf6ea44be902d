"""Every pull in the order made: where a drift, a step or a lone string shows."""

import html
from dataclasses import dataclass
from typing import NamedTuple

import plotly.graph_objects as go

from tensionlog.report.look import ACCENT, AXIS, FAINT, INK, SOFT, layout
from tensionlog.report.rounding import Reader
from tensionlog.report.rows import Row, rows
from tensionlog.report.spread import spread_info
from tensionlog.report.view import JobView
from tensionlog.report.words import STATE_WORDS

SYMBOLS = {"L": "triangle-left", "R": "triangle-right", "X": "square"}
"""Left, right and cross are told apart by shape."""


class Dot(NamedTuple):
    """One pull, in the reader's unit; `height` is its loss, or its reading uncalibrated.

    `u` is its noise and zero alone: what the scale adds is common to all dots, and would
    make pulls look less comparable than they are.
    """

    nth: int
    height: float
    u: float | None
    name: str
    state: str
    hover: str


class Level(NamedTuple):
    """A mean over one group, from its first pull to its last."""

    text: str
    height: float
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Order:
    """All pulls with a number, and the means of mains and crosses."""

    dots: tuple[Dot, ...]
    levels: tuple[Level, ...]
    axis: str

    @property
    def y_range(self) -> tuple[float, float]:
        """Room above and below for the names of single pulls."""
        heights = [dot.height for dot in self.dots] or [0.0, 1.0]
        room = max(max(heights) - min(heights), 0.05 * abs(max(heights)), 1e-9)
        return min(heights) - 0.12 * room, max(heights) + 0.18 * room


def order_info(view: JobView) -> Order:
    """Collect every pull of the job in the order made, void ones too."""
    reader = view.reader
    judged = rows(view)
    shown = "loss" if view.is_calibrated else "reading"
    return Order(
        dots=tuple(
            dot for nth, row in enumerate(judged, start=1) if (dot := _dot(nth, row, reader))
        ),
        levels=_levels(view, judged, reader),
        axis=f"{shown} ({reader.unit})",
    )


def _dot(nth: int, row: Row, reader: Reader) -> Dot | None:
    shown = row.pull.release if row.unit == "counts" else row.loss
    if shown is None:
        return None
    own_u = row.pull.release_u
    name = html.escape(row.name)
    hover = f"<b>{name}</b> · {STATE_WORDS[row.state]}<br>{reader.full(shown, row.reading_u)}"
    u = None if own_u is None else reader.convert(own_u)
    return Dot(nth, reader.convert(shown), u, name, row.state, hover)


def _levels(view: JobView, judged: tuple[Row, ...], reader: Reader) -> tuple[Level, ...]:
    levels = []
    for group, kind in zip(spread_info(view).groups, ("main", "cross"), strict=False):
        at = [i for i, row in enumerate(judged, start=1) if row.kind == kind and row.stands]
        if group.mean is not None and at:
            height = reader.convert(group.mean)
            text = f"mean of {group.name} {reader.bare(group.mean, group.u_mean)}"
            levels.append(Level(text, height, at[0], at[-1]))
    return tuple(levels)


def order_figure(order: Order) -> go.Figure:
    """Draw loss against the order of pulling; void pulls are hollow, looked-at ones named."""
    ground = layout(
        margin={"l": 66 if order.axis.endswith("(counts)") else 58, "r": 14, "t": 30, "b": 46},
        height=340,
        annotations=[_level_label(level) for level in order.levels],
        xaxis={
            **AXIS,
            "title": {"text": "pull, in the order made"},
            "range": _span(order),
            "tickformat": "d",
        },
        yaxis={
            **AXIS,
            "title": {"text": order.axis},
            "showgrid": True,
            "nticks": 6,
            "tickformat": "~s" if order.axis.endswith("(counts)") else None,
            "range": order.y_range,
        },
    )
    stand = [dot for dot in order.dots if dot.state not in ("void", "superseded")]
    again = [dot for dot in order.dots if dot.state in ("void", "superseded")]
    return go.Figure([*map(_level, order.levels), _dots(stand), _void(again)], ground)


def _span(order: Order) -> list[float]:
    return [0.0, max((dot.nth for dot in order.dots), default=1) + 1.0]


def _level(level: Level) -> go.Scatter:
    return go.Scatter(
        x=[level.first - 0.5, level.last + 0.5],
        y=[level.height, level.height],
        mode="lines",
        line={"color": SOFT, "width": 1.5, "dash": "dash"},
        hoverinfo="skip",
        name=level.text,
    )


def _level_label(level: Level) -> dict[str, object]:
    return {
        "x": (level.first + level.last) / 2,
        "y": 1,
        "yref": "paper",
        "text": level.text,
        "showarrow": False,
        "xanchor": "center",
        "yanchor": "bottom",
        "font": {"size": 12.5, "color": SOFT},
    }


def _dots(dots: list[Dot]) -> go.Scatter:
    return go.Scatter(
        x=[d.nth for d in dots],
        y=[d.height for d in dots],
        mode="markers+text",
        marker={
            "symbol": [SYMBOLS.get(d.name[0], "circle") for d in dots],
            "size": [15 if d.state == "look" else 10 for d in dots],
            "color": [ACCENT if d.state == "look" else INK for d in dots],
            "opacity": 1,
        },
        text=[f"<b>{d.name}</b>" if d.state == "look" else "" for d in dots],
        textposition="top center",
        textfont={"size": 13, "color": INK},
        error_y={
            "type": "data",
            "array": [d.u for d in dots],
            "color": FAINT,
            "thickness": 1,
            "width": 0,
        },
        customdata=[d.hover for d in dots],
        hovertemplate="%{customdata}<extra></extra>",
        name="pulls",
    )


def _void(dots: list[Dot]) -> go.Scatter:
    return go.Scatter(
        x=[d.nth for d in dots],
        y=[d.height for d in dots],
        mode="markers+text",
        marker={"symbol": "x-thin", "size": 10, "line": {"width": 2, "color": SOFT}},
        text=[f"{d.name} {'redone' if d.state == 'void' else 'again'}" for d in dots],
        textposition="top center",
        textfont={"size": 11.5, "color": SOFT},
        customdata=[d.hover for d in dots],
        hovertemplate="%{customdata}<extra></extra>",
        name="redone",
    )
