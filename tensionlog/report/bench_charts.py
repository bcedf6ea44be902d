"""The maintenance page's pictures: a quantity over time, and a hold over its baseline's."""

from collections.abc import Iterable, Sequence
from typing import Final

from tensionlog.report.bench_view import Held, Line
from tensionlog.report.markup import Markup
from tensionlog.report.still import (
    LEFT,
    NARROW,
    TOP,
    Frame,
    band,
    date_ticks,
    dots,
    ground,
    run,
    thinned,
    twice,
)
from tensionlog.report.svg import rect, stroke, text

MOST_MARKS: Final = 12
"""Services named in a picture; of more only the lines are drawn."""

AROUND: Final = 0.08
"""Share of the height left free above and below."""


def line_chart(line: Line) -> Markup:
    """Draw a quantity over time with its limits, services, alerts and levels."""
    described = f"{line.name} over time, {len(line.values)} values, in {line.unit}."
    return twice(lambda wide: list(_line(line, wide)), described=described)


def shown_of(line: Line) -> int:
    """How many of the values the wide picture shows."""
    frame = _frame(line, 760.0)
    return len(thinned(_places(line, frame)))


def _frame(line: Line, wide: float) -> Frame:
    low, high = min(line.values), max(line.values)
    # A limit far above what was ever measured would press all points to the ground.
    near = [value for value, _ in line.limits if value <= high + 2.0 * (high - low) + 0.3]
    low, high = min([low, *near]), max([high, *near])
    room = AROUND * (high - low) or 0.1
    begin, end = line.times_s[0], line.times_s[-1]
    margin = max(0.02 * (end - begin), 3600.0)
    return Frame(
        wide=wide,
        x_from=begin - margin,
        x_to=end + margin,
        y_from=low - room,
        y_to=high + room,
    )


def _places(line: Line, frame: Frame) -> list[tuple[float, float]]:
    pairs = zip(line.times_s, line.values, strict=True)
    return [(frame.x(at_s), frame.y(value)) for at_s, value in pairs]


def _line(line: Line, wide: float) -> Iterable[Markup]:
    frame = _frame(line, wide)
    for raised_s, closed_s in line.alerts:
        x = max(LEFT, frame.x(raised_s))
        to_x = frame.right if closed_s is None else min(frame.right, frame.x(closed_s))
        yield rect(x, TOP, max(2.0, to_x - x), frame.bottom - TOP, "open")
        yield text(x + 3.0, frame.bottom - 6.0, "◆ alert", "strong halo")
    few = wide == NARROW
    days = date_ticks(frame.x_from, frame.x_to, most=4 if few else 9)
    yield from ground(frame, y_label=line.unit, x_ticks=days)
    yield from _limits(line, frame)
    yield from _marks(line, frame, named=not few)
    for begin_s, end_s, level in line.levels:
        y = frame.y(level)
        yield stroke(
            frame.x(begin_s), y, max(frame.x(end_s), frame.x(begin_s) + 3.0), y, "level"
        )
    yield dots(thinned(_places(line, frame)), "dots")


def _limits(line: Line, frame: Frame) -> Iterable[Markup]:
    shown = [(v, word) for v, word in line.limits if frame.y_from <= v <= frame.y_to]
    for value, word in shown:
        y = frame.y(value)
        yield stroke(LEFT, y, frame.right, y, "worst" if word == "service" else "limit")
        yield text(frame.right, y - 4.0, f"{word} {value:g}", "end halo")


def _marks(line: Line, frame: Frame, *, named: bool) -> Iterable[Markup]:
    shown = [mark for mark in line.marks if frame.x_from <= mark.at_s <= frame.x_to]
    for mark in shown:
        x = frame.x(mark.at_s)
        yield stroke(x, TOP - 8.0, x, frame.bottom, "mark")
        if named and len(shown) <= MOST_MARKS:
            yield text(x, TOP - 12.0, f"▼ {mark.said}", "middle")
        else:
            yield text(x, TOP - 10.0, "▼", "middle")


def hold_chart(clamp: str, held: Held) -> Markup:
    """Draw the latest hold test of a clamp over those of its baseline."""
    described = f"Force lost after the hand-off at clamp {clamp}, latest test and baseline."
    return twice(lambda wide: list(_held(held, wide)), described=described)


def _held(held: Held, wide: float) -> Iterable[Markup]:
    lines: tuple[Sequence[float | None], ...] = (held.latest, held.low, held.high)
    known = [value for line in lines for value in line if value is not None]
    low, high = min([0.0, *known]), max([1.0, *known])
    room = AROUND * (high - low)
    steps = max(len(held.latest), len(held.middle))
    end_s = held.start_s + held.step_s * max(1, steps - 1)
    frame = Frame(
        wide=wide, x_from=held.start_s, x_to=end_s, y_from=high + room, y_to=low - room
    )
    every = 5 if end_s > 8 else 2
    seconds = [(float(s), str(s)) for s in range(0, int(end_s) + 1, every)]
    down = Frame(
        wide=wide, x_from=held.start_s, x_to=end_s, y_from=low - room, y_to=high + room
    )
    yield from _down_ground(frame, down, seconds)

    def at(n: int) -> float:
        return frame.x(held.start_s + held.step_s * n)

    def y(value: float | None) -> float | None:
        return None if value is None else frame.y(value)

    rows = [(at(n), y(held.low[n]), y(held.high[n])) for n in range(len(held.low))]
    yield band(rows, "range")
    yield run([(at(n), y(value)) for n, value in enumerate(held.middle)], "usual")
    yield run([(at(n), y(value)) for n, value in enumerate(held.latest)], "now")


def _down_ground(
    frame: Frame, down: Frame, seconds: Sequence[tuple[float, str]]
) -> Iterable[Markup]:
    """Axes of a quantity that falls: zero is above."""
    from tensionlog.report.still import HIGH
    from tensionlog.report.svg import ticks

    for value in ticks(down.y_from, down.y_to):
        y = frame.y(value)
        yield stroke(LEFT, y, frame.right, y, "grid")
        yield text(LEFT - 6.0, y + 4.5, f"−{value:g}" if value else "0", "end")
    yield text(2.0, 14.0, "N since before the hand-off", "label")
    yield stroke(LEFT, frame.bottom, frame.right, frame.bottom, "axis")
    for value, said in seconds:
        yield text(frame.x(value), HIGH - 8.0, said, "middle")
    yield text(frame.right, 14.0, "s after the hand-off", "label end")
