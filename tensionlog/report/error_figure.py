"""Error against load, with the band of the tolerance: today's check in one drawing."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from tensionlog.check.verdict import Tolerance
from tensionlog.report.markup import Markup
from tensionlog.report.plot import HIGH, Frame, cross, disc, drawn, path, words

Point = Mapping[str, Any]


def error_figure(points: Sequence[Point], tolerance: Tolerance) -> Markup | None:
    """Draw errors at the loads with twice their uncertainty; None where none is known."""
    known = [p for p in points if p.get("error_N") is not None]
    if not known:
        return None
    top_n = 1.12 * max(p["reference_N"] for p in known)
    reach = [abs(p["error_N"]) + 2 * p["u_N"] for p in known]
    most = 1.15 * max(*reach, tolerance.at_n(top_n))
    frame = Frame(x=(0.0, top_n), y=(-most, most))
    loads = sorted({round(p["reference_N"], 1) for p in known})
    return drawn(
        frame,
        [
            *_band(frame, tolerance, top_n),
            *(_point(frame, p, tolerance) for p in known),
            *_look(frame, known, tolerance),
        ],
        described=described(known, tolerance),
        x_labels=[(0.0, "0"), *((n, f"{n:.0f}") for n in _apart(loads, top_n))],
        x_title="load, N",
        y_title="error, N: dot going up, ring coming down; bars are two u",
    )


def described(points: Sequence[Point], tolerance: Tolerance) -> str:
    """The drawing in words."""
    outside = [p for p in points if _is_outside(p, tolerance)]
    many = "all within" if not outside else f"{len(outside)} not safely within"
    return f"Errors at {len(points)} loads against the tolerance band: {many}."


def _band(frame: Frame, tolerance: Tolerance, top_n: float) -> list[Markup]:
    steps = [top_n * i / 60 for i in range(61)]
    upper = [(frame.at_x(n), frame.at_y(tolerance.at_n(n))) for n in steps]
    lower = [(frame.at_x(n), frame.at_y(-tolerance.at_n(n))) for n in steps]
    return [
        path([*upper, *lower[::-1]], "band"),
        path(upper, "edge"),
        path(lower, "edge"),
        path(
            [(frame.at_x(0.0), frame.at_y(0.0)), (frame.at_x(top_n), frame.at_y(0.0))], "zero"
        ),
        words(frame.at_x(0.0) + 6, frame.at_y(-tolerance.floor_n) - 5, "tolerance", None),
    ]


def _point(frame: Frame, point: Point, tolerance: Tolerance) -> Markup:
    x, y = frame.at_x(point["reference_N"]), frame.at_y(point["error_N"])
    u = 2 * point["u_N"]
    low, high = frame.at_y(point["error_N"] - u), frame.at_y(point["error_N"] + u)
    bar = path([(x, low), (x, high)], "bar")
    kind = "dot" if point["direction"] == "up" else "hollow"
    dot = disc(x, y, kind)
    if not _is_outside(point, tolerance):
        return Markup(bar + dot)
    return Markup(bar + cross(x, y, "bad"))


def _look(frame: Frame, points: Sequence[Point], tolerance: Tolerance) -> Iterator[Markup]:
    """One word beside the heaviest load that is not safely within; the rest have crosses."""
    outside = [p for p in points if _is_outside(p, tolerance)]
    if outside:
        worst = max(outside, key=lambda p: float(p["reference_N"]))
        x, y = frame.at_x(worst["reference_N"]), frame.at_y(worst["error_N"])
        yield words(x - 12, min(max(y + 5, 40.0), HIGH - 50), "LOOK", "alert end")


def _is_outside(point: Point, tolerance: Tolerance) -> bool:
    reach = abs(point["error_N"]) + 2 * point["u_N"]
    return bool(reach > tolerance.at_n(point["reference_N"]))


def _apart(loads: Sequence[float], top_n: float) -> list[float]:
    """Loads whose labels do not touch."""
    shown: list[float] = []
    for load in loads:
        if load - (shown[-1] if shown else 0.0) > 0.1 * top_n:
            shown.append(load)
    return shown
