"""One pull as a figure: its line, its levels, its marked moments."""

import html
from typing import Any

import plotly.graph_objects as go

from tensionlog.report.look import ACCENT, AXIS, FONT, INK, SOFT, layout
from tensionlog.report.traces import TraceView

WHERE = {"settled top": "top right", "release": "bottom left", "let-off": "bottom left"}
"""Where a mark's word stands, so that two of them at one moment stay apart."""


def trace_figure(trace: TraceView) -> go.Figure:
    """Draw one pull: line, target, expected, marks."""
    ground = layout(
        margin={"l": 42 if trace.unit == "counts" else 34, "r": 8, "t": 6, "b": 22},
        font={"family": FONT, "size": 10.5, "color": SOFT},
        shapes=_shapes(trace),
        xaxis={**AXIS, "range": trace.x_range, "nticks": 5, "ticksuffix": " s"},
        yaxis={
            **AXIS,
            "range": trace.y_range,
            "nticks": 4,
            "showgrid": True,
            "tickformat": _ticks(trace),
        },
    )
    return go.Figure([_curve(trace), _marked(trace), _named_levels(trace)], ground)


def _ticks(trace: TraceView) -> str | None:
    """Counts run to millions: 950k and 1.05M leave room for the trace."""
    return "~s" if trace.unit == "counts" else None


def _curve(trace: TraceView) -> go.Scatter:
    where: dict[str, Any] = {"x0": trace.x0_s, "dx": trace.dx_s}
    if trace.x_s is not None:
        where = {"x": trace.x_s}
    dash = "2px,2px" if trace.state in ("void", "superseded") else "solid"
    return go.Scatter(
        **where,
        y=trace.y,
        mode="lines",
        connectgaps=False,
        line={"color": INK, "width": 1.5, "dash": dash},
        hovertemplate=f"%{{x:.2f}} s<br>%{{y:.4g}} {trace.unit}<extra></extra>",
        name=html.escape(trace.name),
    )


def _marked(trace: TraceView) -> go.Scatter:
    return go.Scatter(
        x=[mark.x_s for mark in trace.marks],
        y=[mark.y for mark in trace.marks],
        mode="markers",
        marker={
            "symbol": [mark.symbol for mark in trace.marks],
            "size": 7,
            "color": ACCENT if trace.state == "look" else INK,
            "line": {"width": 2, "color": ACCENT if trace.state == "look" else INK},
        },
        text=[mark.text for mark in trace.marks],
        textposition=[WHERE.get(mark.word, "top center") for mark in trace.marks],
        textfont={"size": 13, "color": INK},
        hovertemplate="%{text}<extra></extra>",
        name="marks",
    )


def _named_levels(trace: TraceView) -> go.Scatter:
    """Names of the two lines: too small for one of many, switched on when large."""
    levels = (("target", trace.target), ("expected", trace.expected))
    named = [(name, level) for name, level in levels if level is not None]
    return go.Scatter(
        x=[trace.x_range[1] for _ in named],
        y=[level for _, level in named],
        text=[name for name, _ in named],
        mode="text",
        textposition="top left",
        textfont={"size": 13, "color": SOFT},
        hoverinfo="skip",
        visible=False,
        name="levels",
    )


def _shapes(trace: TraceView) -> list[dict[str, Any]]:
    levels = ((trace.target, "6px,4px", 1.6), (trace.expected, "1px,3px", 1.6))
    return [
        {
            "type": "line",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": level,
            "y1": level,
            "line": {"color": SOFT, "width": width, "dash": dash},
        }
        for level, dash, width in levels
        if level is not None
    ]
