"""Every pull in the order made: where a drift, a step or a lone string shows."""

import html
from dataclasses import dataclass
from typing import NamedTuple

import plotly.graph_objects as go

from tensionlog.report.look import ACCENT, FAINT, INK, LINE, SOFT, layout
from tensionlog.report.rounding import Reader
from tensionlog.report.rows import Row, rows
from tensionlog.report.spread import spread_info
from tensionlog.report.view import JobView
from tensionlog.report.words import STATE_WORDS

SYMBOLS = {"L": "triangle-left", "R": "triangle-right", "X": "square"}
"""Left, right and cross are told apart by shape."""


class Dot(NamedTuple):
    """One pull, in the reader's unit; `height` is its loss, or its reading uncalibrated."""

    nth: int
    height: float
    u: float | None
    name: str
    state: str
    hover: str


class Level(NamedTuple):
    """A mean over one group, from its first pull to its last."""

    name: str
    height: float
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Order:
    """All pulls with a number, and the means of mains and crosses."""

    dots: tuple[Dot, ...]
    levels: tuple[Level, ...]
    axis: str


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
    u = row.reading_u
    name = html.escape(row.name)
    hover = f"<b>{name}</b> · {STATE_WORDS[row.state]}<br>{reader.full(shown, u)}"
    return Dot(
        nth,
        reader.convert(shown),
        None if u is None else reader.convert(u),
        name,
        row.state,
        hover,
    )


def _levels(view: JobView, judged: tuple[Row, ...], reader: Reader) -> tuple[Level, ...]:
    levels = []
    for group, kind in zip(spread_info(view).groups, ("main", "cross"), strict=False):
        at = [i for i, row in enumerate(judged, start=1) if row.kind == kind and row.stands]
        if group.mean is not None and at:
            height = reader.convert(group.mean)
            levels.append(Level(f"mean of {group.name}", height, at[0], at[-1]))
    return tuple(levels)


def order_figure(order: Order) -> go.Figure:
    """Draw loss against the order of pulling; void pulls are hollow, looked-at ones named."""
    figure = go.Figure(layout=layout(margin={"l": 58, "r": 14, "t": 22, "b": 46}, height=340))
    figure.update_xaxes(title_text="pull, in the order made", range=_span(order))
    figure.update_yaxes(title_text=order.axis, showgrid=True, gridcolor=LINE, nticks=6)
    figure.update_layout(annotations=[_level_label(level) for level in order.levels])
    for level in order.levels:
        figure.add_trace(_level(level))
    figure.add_trace(_dots([d for d in order.dots if d.state not in ("void", "superseded")]))
    figure.add_trace(_void([d for d in order.dots if d.state in ("void", "superseded")]))
    return figure


def _span(order: Order) -> list[float]:
    return [0.0, max((dot.nth for dot in order.dots), default=1) + 1.0]


def _level(level: Level) -> go.Scatter:
    return go.Scatter(
        x=[level.first - 0.5, level.last + 0.5],
        y=[level.height, level.height],
        mode="lines",
        line={"color": SOFT, "width": 1.5, "dash": "dash"},
        hoverinfo="skip",
        name=level.name,
    )


def _level_label(level: Level) -> dict[str, object]:
    return {
        "x": level.first,
        "y": level.height,
        "yref": "y",
        "text": level.name,
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "bottom",
        "font": {"size": 11.5, "color": SOFT},
    }


def _dots(dots: list[Dot]) -> go.Scatter:
    return go.Scatter(
        x=[d.nth for d in dots],
        y=[d.height for d in dots],
        mode="markers+text",
        marker={
            "symbol": [SYMBOLS.get(d.name[0], "circle") for d in dots],
            "size": [15 if d.state == "look" else 9 for d in dots],
            "color": [ACCENT if d.state == "look" else INK for d in dots],
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
