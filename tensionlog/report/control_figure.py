"""A series over the mornings: individuals, their limits, and what was done meanwhile."""

from collections.abc import Iterator
from itertools import pairwise

from tensionlog.report.check_view import Chart
from tensionlog.report.markup import Markup
from tensionlog.report.plot import HIGH, TOP, Frame, cross, disc, drawn, path, words

SHOWN_DAYS = 120.0
"""What is older is in the database; a page shows a season's third."""

LABELS = 4


def control_figure(chart: Chart) -> Markup:
    """Draw the readings with limits, marks, and the first day of an alert."""
    series = chart.watched.series
    day, value = list(series.day), list(series.value)
    first = day[-1] - SHOWN_DAYS
    shown = [i for i, d in enumerate(day) if d >= first]
    frame = _frame(chart, shown)
    return drawn(
        frame,
        [
            *_limits(chart, frame, shown),
            *_marks(chart, frame),
            path([(frame.at_x(day[i]), frame.at_y(value[i])) for i in shown], "line"),
            *(_reading(chart, frame, i) for i in shown),
            *_alert(chart, frame),
        ],
        described=chart.says,
        x_labels=_dates(chart, frame),
        x_title="day",
        y_title=f"{series.name}, {series.unit}; dashed: limits of single readings",
    )


def stretches(chart: Chart) -> list[tuple[int, int]]:
    """First and last index (exclusive) of each stretch between restarts."""
    series = chart.watched.series
    edges = [0, *(r for r in series.restarts if 0 < r < len(series.value)), len(series.value)]
    return list(pairwise(edges))


def _frame(chart: Chart, shown: list[int]) -> Frame:
    series = chart.watched.series
    values = [series.value[i] for i in shown]
    for limits, (first, last) in zip(chart.watched.individuals, stretches(chart), strict=False):
        if limits is not None and last > shown[0] and first <= shown[-1]:
            values += [limits.lower, limits.upper]
    low, high = min(values), max(values)
    room = max(0.08 * (high - low), 0.5 * series.matters_from, 1e-6)
    days = series.day[shown[0]], series.day[shown[-1]]
    wide = max(days[1] - days[0], 1.0)
    return Frame(x=(days[0] - 0.03 * wide, days[0] + 1.03 * wide), y=(low - room, high + room))


def _limits(chart: Chart, frame: Frame, shown: list[int]) -> Iterator[Markup]:
    day = chart.watched.series.day
    for limits, (first, last) in zip(chart.watched.individuals, stretches(chart), strict=False):
        inside = [i for i in shown if first <= i < last]
        if limits is None or not inside:
            continue
        x = frame.at_x(day[inside[0]]), frame.at_x(day[inside[-1]])
        for level, kind in (
            (limits.upper, "edge"), (limits.centre, "zero"), (limits.lower, "edge")
        ):  # fmt: skip
            y = frame.at_y(level)
            yield path([(x[0], y), (x[1], y)], kind)


def _reading(chart: Chart, frame: Frame, index: int) -> Markup:
    series = chart.watched.series
    x, y = frame.at_x(series.day[index]), frame.at_y(series.value[index])
    return cross(x, y, "bad") if index in outside(chart) else disc(x, y, "dot", size=3.2)


def outside(chart: Chart) -> set[int]:
    """Indices of readings beyond the limits of their stretch."""
    pairs = zip(chart.watched.individuals, stretches(chart), strict=False)
    return {
        first + i for limits, (first, _) in pairs if limits is not None for i in limits.outside
    }


def _marks(chart: Chart, frame: Frame) -> Iterator[Markup]:
    last_x = -1e9
    for mark in chart.marks:
        day = chart.day_of(mark.at)
        if not frame.x[0] <= day <= frame.x[1]:
            continue
        x = frame.at_x(day)
        yield path([(x, TOP), (x, HIGH - 40)], "mark")
        if x - last_x > 16:  # beside one another they would be one blot
            yield words(x + 3, TOP + 12, "C" if mark.kind == "calibration" else "S", "strong")
            last_x = x


def _alert(chart: Chart, frame: Frame) -> Iterator[Markup]:
    day = chart.watched.alert_day
    if day is None or not frame.x[0] <= day <= frame.x[1]:
        return
    x = frame.at_x(day)
    yield path([(x, TOP + 16), (x, HIGH - 40)], "bad")
    yield words(min(x + 4, 380.0), TOP + 30, "ALERT", "alert")


def _dates(chart: Chart, frame: Frame) -> list[tuple[float, str]]:
    low, high = frame.x
    step = (high - low) / LABELS
    days = [low + step * (i + 0.5) for i in range(LABELS)]
    return [(day, f"{chart.date_of(day):%d %b}") for day in days]
