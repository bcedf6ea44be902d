"""Charts that need no script: SVG text drawn twice, for a wide screen and for a phone.

Text inside a picture shrinks with it; so there are two pictures of two widths, and the
style sheet shows the one that fits. No more points are drawn than can be told apart.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from tensionlog.report.look import STYLE
from tensionlog.report.markup import Markup, tag
from tensionlog.report.svg import stroke, text, ticks

WIDE, NARROW, HIGH = 760.0, 360.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 12.0, 30.0, 26.0
SAME_PLACE: Final = 2.0
"""Points closer than this across are one to the eye: the lowest and the highest are kept."""

DAY_S: Final = 86400.0
MONTHS: Final = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The ground of a chart: where values come to lie.

    Attributes:
        wide: Width of the picture.
        x_from: Value at the left end.
        x_to: Value at the right end.
        y_from: Value at the bottom.
        y_to: Value at the top.
    """

    wide: float
    x_from: float
    x_to: float
    y_from: float
    y_to: float

    @property
    def right(self) -> float:
        """The right end of the ground."""
        return self.wide - RIGHT

    @property
    def bottom(self) -> float:
        """The bottom of the ground."""
        return HIGH - BOTTOM

    def x(self, value: float) -> float:
        """Across."""
        share = (value - self.x_from) / (self.x_to - self.x_from or 1.0)
        return LEFT + share * (self.right - LEFT)

    def y(self, value: float) -> float:
        """Down."""
        share = (value - self.y_from) / (self.y_to - self.y_from or 1.0)
        return self.bottom - share * (self.bottom - TOP)


def twice(
    draw: Callable[[float], Iterable[Markup]], *, described: str, kind: str = ""
) -> Markup:
    """Draw a chart for both widths; one description serves both."""
    pictures = [
        tag(
            "svg",
            *draw(wide),
            viewBox=f"0 0 {wide:g} {HIGH:g}",
            class_=name,
            role="img",
            aria_label=described,
        )
        for wide, name in ((WIDE, "wide"), (NARROW, "narrow"))
    ]
    return tag("figure", *pictures, class_=f"still {kind}".strip())


def thinned(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Of the points at one place across keep the lowest and the highest, in order.

    >>> thinned([(0.0, 1.0), (0.5, 3.0), (0.6, 2.0), (9.0, 4.0)])
    [(0.0, 1.0), (0.5, 3.0), (9.0, 4.0)]
    """
    kept: dict[int, tuple[tuple[float, float], tuple[float, float]]] = {}
    for place in places:
        column = int(place[0] // SAME_PLACE)
        low, high = kept.get(column, (place, place))
        kept[column] = (min(low, place, key=_y), max(high, place, key=_y))
    return [point for column in sorted(kept) for point in sorted(set(kept[column]))]


def _y(place: tuple[float, float]) -> float:
    return place[1]


def dots(places: Iterable[tuple[float, float]], kind: str) -> Markup:
    """Write points as one path of round ends."""
    return tag("path", d="".join(f"M{x:.1f} {y:.1f}h0" for x, y in places), class_=kind)


def run(places: Sequence[tuple[float, float | None]], kind: str) -> Markup:
    """Write a line that breaks where nothing is known."""
    pieces, pen = [], "M"
    for x, y in places:
        if y is None:
            pen = "M"
            continue
        pieces.append(f"{pen}{x:.1f} {y:.1f}")
        pen = "L"
    return tag("path", d="".join(pieces), class_=kind)


def band(places: Sequence[tuple[float, float | None, float | None]], kind: str) -> Markup:
    """Write the area between two lines."""
    known = [(x, low, high) for x, low, high in places if low is not None and high is not None]
    there = "L".join(f"{x:.1f} {low:.1f}" for x, low, _ in known)
    back = "L".join(f"{x:.1f} {high:.1f}" for x, _, high in reversed(known))
    return tag("path", d=f"M{there}L{back}Z" if known else "", class_=kind)


def ground(
    frame: Frame, *, y_label: str, x_ticks: Sequence[tuple[float, str]]
) -> Iterable[Markup]:
    """Axes, their numbers and what they count."""
    for value in ticks(frame.y_from, frame.y_to):
        y = frame.y(value)
        yield stroke(LEFT, y, frame.right, y, "grid")
        yield text(LEFT - 6.0, y + 4.5, f"{value:g}".replace("-", "−"), "end")
    yield text(2.0, 14.0, y_label, "label")
    yield stroke(LEFT, frame.bottom, frame.right, frame.bottom, "axis")
    for value, said in x_ticks:
        x = frame.x(value)
        at_end = x > frame.right - 24.0
        yield text(min(x, frame.right), HIGH - 8.0, said, "end" if at_end else "middle")


def date_ticks(from_s: float, to_s: float, *, most: int) -> list[tuple[float, str]]:
    """First days of months, quarters or years; of a short time, single days.

    Args:
        from_s: Begin, seconds UTC since 1970.
        to_s: End.
        most: How many labels have room.
    """
    days = (to_s - from_s) / DAY_S
    if days < 100:
        return _day_ticks(from_s, to_s, every=max(1, -int(-days // most)))
    for months in (1, 2, 3, 6, 12, 24, 60):
        found = list(_month_ticks(from_s, to_s, every=months))
        if len(found) <= most:
            return found
    return found


def _day_ticks(from_s: float, to_s: float, *, every: int) -> list[tuple[float, str]]:
    first = int(from_s // DAY_S) + 1
    at = [day * DAY_S for day in range(first, int(to_s // DAY_S) + 1, every)]
    return [(s, f"{(day := _utc(s)).day} {MONTHS[day.month - 1]}") for s in at]


def _month_ticks(from_s: float, to_s: float, *, every: int) -> Iterable[tuple[float, str]]:
    first, last = _utc(from_s), _utc(to_s)
    for number in range(first.year * 12 + first.month, last.year * 12 + last.month):
        year, month = divmod(number, 12)
        if number % every == 0:
            begins = datetime(year, month + 1, 1, tzinfo=UTC).timestamp()
            yield begins, MONTHS[month] if month else str(year)


def _utc(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def still_page(sections: Sequence[Markup], *, title: str) -> str:
    """Write a page without any script: what it shows is drawn already."""
    head = tag(
        "head",
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width,initial-scale=1">'),
        Markup('<meta name="referrer" content="no-referrer">'),
        tag("title", title),
        tag("style", Markup(STYLE + STILL_STYLE)),
    )
    body = tag("body", tag("div", *sections, class_="wrap"))
    page = f'<!doctype html>\n<html lang="en">{head}{body}</html>\n'
    return page.encode("utf-8", "replace").decode("utf-8")


POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)

STILL_STYLE: Final = """
.still svg{display:block;width:100%;height:auto}.still{max-width:56rem}
.still .narrow{display:none}
@media (max-width:34rem){.still .wide{display:none}.still .narrow{display:block}}
@media print{.still .wide{display:block!important}.still .narrow{display:none!important}}
.still text{font:13px system-ui,'Segoe UI',Roboto,'Noto Sans','DejaVu Sans',sans-serif;
 fill:var(--soft)}
.still .halo{stroke:var(--paper);stroke-width:4;paint-order:stroke}
.still .label,.still .strong{fill:var(--ink)}.still .strong{font-weight:650}
.still .end{text-anchor:end}.still .middle{text-anchor:middle}
.still path{fill:none;stroke:var(--ink);stroke-width:1}
.still .grid{stroke:var(--line)}.still .axis{stroke:var(--soft)}
.still .dots{stroke-width:4.5;stroke-linecap:round;stroke:var(--ink)}
.still .level{stroke:var(--soft);stroke-width:1.6}
.still .limit{stroke:var(--soft);stroke-dasharray:7 4}
.still .worst{stroke:var(--accent);stroke-dasharray:7 4;stroke-width:1.6}
.still .mark{stroke:var(--ink);stroke-dasharray:2 3}
.still .open{fill:var(--wash);stroke:none}
.still .now{stroke:var(--accent);stroke-width:2.4;stroke-linejoin:round}
.still .usual{stroke:var(--ink);stroke-width:1.4}
.still .range{fill:var(--line);stroke:none}
.states{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:1rem;
 margin:1.2rem 0;padding:0;list-style:none}
.states li{border:2px solid var(--line);border-radius:8px;background:var(--card);
 padding:.8rem 1rem;break-inside:avoid}
.states .asks{border-color:var(--accent)}
.states h3{margin:0;font-size:1rem;color:var(--soft);font-weight:550}
.states .word{font-size:2rem;line-height:1.15;font-weight:700;margin:.1rem 0}
.states .asks .word::before{content:"\\25C6\\00a0";font-size:.7em;color:var(--accent)}
.states p{margin:.15rem 0}
article.alert{border-left:5px solid var(--line);padding:.2rem 0 .2rem 1rem;margin:1.2rem 0;
 break-inside:avoid}
article.alert.open{border-color:var(--accent)}
article.alert h3{margin:.1rem 0}
article.alert ul{margin:.4rem 0;padding-left:1.2rem}
.do{font-weight:550}
"""
