"""One pull as one SVG text: nothing loaded, light and dark, every mark with its word.

The trace lies in a frame. Moments are named above it, levels in a column beside it, and
names that would touch are moved apart, so that any pull can be drawn.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tensionlog.errors import UsageError
from tensionlog.report.markup import Markup, tag
from tensionlog.report.rounding import ABSENT, Reader, millimetres
from tensionlog.report.rows import Row, rows
from tensionlog.report.svg import (
    BETWEEN_LABELS,
    apart,
    rect,
    shortened,
    stroke,
    style,
    text,
    ticks,
)
from tensionlog.report.traces import TraceView, traces_info
from tensionlog.report.view import JobView
from tensionlog.report.words import HEAD_WORDS, flag_words, listed

WIDE, HIGH = 720.0, 462.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 522.0, 104.0, 350.0
"""The frame, in the picture's own units: a pixel where it is shown at its full size."""

LETTER = 7.4
"""Width of an average letter at the size of the labels: a guess on the safe side."""

MOST_LETTERS = 92
SCALE = "the scale shows the hold, not the whole rise"


class Level(NamedTuple):
    """A force with a name, and the line that shows it.

    Attributes:
        word: What it is.
        y: The force, in the reader's unit.
        text: The force as it is printed.
        kind: Class of the line: `target`, `expected`, `top` or `release`.
        from_s: Time at which the line begins.
    """

    word: str
    y: float
    text: str
    kind: str
    from_s: float


@dataclass(frozen=True, slots=True)
class Frame:
    """Seconds and forces to places in the picture."""

    x_range: tuple[float, float]
    y_range: tuple[float, float]

    def x(self, at_s: float) -> float:
        """Place of a time."""
        low, high = self.x_range
        return LEFT + (at_s - low) / (high - low) * (RIGHT - LEFT)

    def y(self, force: float) -> float:
        """Place of a force; one beyond the frame is kept a little outside its edge."""
        low, high = self.y_range
        place = BOTTOM - (force - low) / (high - low) * (BOTTOM - TOP)
        return min(max(place, TOP - 10.0), BOTTOM + 10.0)


def pull_picture(view: JobView, wanted: str) -> str:
    """Draw one pull of a job as a self-contained SVG text.

    Args:
        view: The job.
        wanted: A position such as `R5`, for the pull that stands there, or the number of
            a pull, for a void one too.

    Raises:
        UsageError: The job has no such pull.
    """
    row = _row(rows(view), wanted)
    trace = next(t for t in traces_info(view) if t.number == row.number)
    frame = Frame(trace.x_range, trace.y_range)
    drawing = tag(
        "svg",
        tag("title", _title(row, view.reader)),
        tag("style", Markup(style())),
        tag("clipPath", rect(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, None), id="frame"),
        rect(0.0, 0.0, WIDE, HIGH, "paper"),
        *_heading(row, view),
        *_axes(frame, trace.unit),
        *_moments(frame, row),
        *_levels(frame, row, view.reader),
        _line_of(frame, trace),
        *_loss(frame, row, view.reader),
        *_marks(frame, trace),
        *_foot(row, view),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        role="img",
    )
    return f"{drawing}\n"


def _row(judged: Sequence[Row], wanted: str) -> Row:
    name = wanted.strip().upper()
    named = [row for row in judged if name == row.name.upper() and row.stands]
    numbered = [row for row in judged if name.lstrip("#") == str(row.number)]
    if found := named or numbered:
        return found[-1]
    there = listed([row.name for row in judged if row.stands], 12) or "none"
    raise UsageError(f"the job has no pull {wanted!r}. Its pulls are {there}.")


def _title(row: Row, reader: Reader) -> str:
    pull = row.pull
    read = "not measured" if pull.release is None else reader.amount(pull.release)
    aim = "" if pull.target is None else f", target {reader.order(pull.target)}"
    return f"{row.name} (pull {row.number}): reading {read}{aim}"


def _heading(row: Row, view: JobView) -> list[Markup]:
    named = HEAD_WORDS.get(view.header.head or "")
    head = f"{named.capitalize()} head" if named else "Head not recorded"
    flags = "; ".join(flag_words(flag) for flag in row.pull.flags)
    said = f"{flags[:1].upper()}{flags[1:]}" if flags else f"{head}; {SCALE}"
    return [
        text(16.0, 32.0, _title(row, view.reader), "title"),
        text(16.0, 56.0, shortened(said, MOST_LETTERS), "soft"),
    ]


def _axes(frame: Frame, unit: str) -> list[Markup]:
    parts = [rect(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "frame")]
    for force in ticks(*frame.y_range):
        parts.append(stroke(LEFT, frame.y(force), RIGHT, frame.y(force), "grid"))
        parts.append(text(LEFT - 6.0, frame.y(force) + 5.0, f"{force:g}", "soft end"))
    for at_s in ticks(*frame.x_range):
        said = f"{at_s:g} s" if at_s else "0 s"
        parts.append(text(frame.x(at_s), BOTTOM + 19.0, said, "soft middle"))
    parts.append(text(LEFT - 6.0, TOP - 8.0, unit, "soft end"))
    return parts


def _moments(frame: Frame, row: Row) -> list[Markup]:
    """Upright lines at the release and the let-off, their names in two rows above."""
    pull = row.pull
    clamp = "clamp" if pull.clamp_opened is None else f"clamp {pull.clamp_opened}"
    parts = []
    for place, at_s, said in (
        (TOP - 26.0, pull.release_s, f"{clamp} opened"),
        (TOP - 8.0, pull.let_off_s, "head lets off"),
    ):
        if at_s is not None:
            x = frame.x(at_s - pull.start_s)
            anchor = "end" if x - LETTER * len(said) > LEFT else "start"
            parts.append(stroke(x, place - 12.0, x, BOTTOM, "moment"))
            parts.append(text(x + (-5.0 if anchor == "end" else 5.0), place, said, anchor))
    return parts


def _levels(frame: Frame, row: Row, reader: Reader) -> list[Markup]:
    levels = sorted(_known_levels(row, reader, frame), key=lambda level: -level.y)
    parts = []
    places = apart([frame.y(level.y) for level in levels], lowest=BOTTOM)
    for level, place in zip(levels, places, strict=True):
        y = frame.y(level.y)
        parts.append(stroke(frame.x(level.from_s), y, RIGHT, y, level.kind))
        parts.append(stroke(RIGHT, y, RIGHT + 12.0, place, "leader"))
        parts.append(text(RIGHT + 16.0, place + 5.0, f"{level.word} {level.text}", level.kind))
    return parts


def _known_levels(row: Row, reader: Reader, frame: Frame) -> Iterable[Level]:
    pull, begin_s = row.pull, frame.x_range[0]
    read_s = pull.release_s if pull.release_s is not None else pull.let_off_s
    read_s = begin_s if read_s is None else read_s - pull.start_s
    top = pull.top if pull.seen else None
    for word, force, kind, from_s in (
        ("target", pull.target, "target", begin_s),
        ("expected", pull.expected, "expected", begin_s),
        ("settled top", top, "top", read_s),
        ("reading", pull.release, "release", read_s),
    ):
        in_newtons = kind in ("target", "expected")
        if force is not None and not (in_newtons and reader.unit == "counts"):
            said = reader.order(force) if kind == "target" else reader.amount(force)
            yield Level(word, reader.convert(force), said, kind, from_s)


def _line_of(frame: Frame, trace: TraceView) -> Markup:
    """The trace; where a sample is missing the pen is lifted."""
    if trace.x_s is not None:
        times = [float(t) for t in trace.x_s]
    else:
        times = [trace.x0_s + (trace.dx_s or 0.0) * i for i in range(len(trace.y))]
    path, lifted = [], True
    for at_s, force in zip(times, trace.y, strict=True):
        known = bool(force == force)
        if known:
            path.append(f"{'M' if lifted else 'L'}{frame.x(at_s):.1f} {frame.y(force):.1f}")
        lifted = not known
    return tag("path", d="".join(path), class_="trace", clip_path="url(#frame)")


def _loss(frame: Frame, row: Row, reader: Reader) -> list[Markup]:
    """An arrow from the target to the reading, between release and let-off."""
    pull = row.pull
    if row.loss is None or pull.let_off_s is None or pull.target is None:
        return []
    begins_s = pull.release_s if pull.release_s is not None else pull.top_s
    if begins_s is None or pull.release is None:
        return []
    x = frame.x(begins_s - pull.start_s + 0.3 * (pull.let_off_s - begins_s))
    high, low = (frame.y(reader.convert(force)) for force in (pull.target, pull.release))
    if abs(low - high) < 2.5 * BETWEEN_LABELS:
        return []  # no room for the words; the title carries both numbers
    tip = 7.0 if low > high else -7.0
    head = f"M{x - 5:.1f} {low - tip:.1f}L{x:.1f} {low:.1f}L{x + 5:.1f} {low - tip:.1f}"
    middle = (high + low) / 2.0
    word = "below" if row.loss > 0.0 else "above"
    return [
        stroke(x, high, x, low, "arrow"),
        tag("path", d=head, class_="arrow"),
        text(x + 9.0, middle - 4.0, reader.amount(abs(row.loss)), "halo"),
        text(x + 9.0, middle + 15.0, f"{word} target", "halo"),
    ]


def _marks(frame: Frame, trace: TraceView) -> list[Markup]:
    """A dot at the settled top, a diamond at the reading: shapes that differ unseen colour."""
    parts = []
    for mark in trace.marks:
        x, y = frame.x(mark.x_s), frame.y(mark.y)
        if mark.symbol == "circle":
            parts.append(tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r="5", class_="dot"))
        elif mark.symbol.startswith("diamond"):
            hollow = " hollow" if mark.symbol.endswith("open") else ""
            d = f"M{x:.1f} {y - 7:.1f}l7 7l-7 7l-7 -7z"
            parts.append(tag("path", d=d, class_=f"dot{hollow}"))
    return parts


def _foot(row: Row, view: JobView) -> list[Markup]:
    origin = view.header.raw.get("origin")
    by = f", by {shortened(str(origin), 80)}" if origin else ""
    step, lost = _behind(row, view.reader)
    return [
        text(16.0, BOTTOM + 50.0, step, None),
        text(16.0, BOTTOM + 72.0, lost, None),
        text(16.0, BOTTOM + 98.0, f"Recording {view.recording}{by}.", "soft small"),
    ]


def _behind(row: Row, reader: Reader) -> tuple[str, str]:
    """Say what the release told about the string that the opened clamp had held."""
    pull = row.pull
    if pull.held_position is None:
        return "No string is behind this one: its release tells nothing.", ""
    if not pull.seen or pull.drop is None:
        return (
            f"No step is seen at the release: nothing is known against {pull.held_position}.",
            "",
        )
    step = f"The step, {reader.full(pull.drop, pull.drop_u)}, tells about the string behind."
    if pull.at_least_lost is None:
        return step, f"That is {pull.held_position}; what it lost at least is not known."
    give = millimetres(pull.at_least_give_mm)
    length = "" if give == ABSENT else f", or {give} of string through its clamp"
    lost = reader.amount(pull.at_least_lost)
    return step, f"{pull.held_position} had lost at least {lost}{length}."
