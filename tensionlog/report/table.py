"""The pull table: every number that the page rests on, in the order pulled."""

from collections.abc import Callable

from tensionlog.report.markup import Markup, joined, table, tag
from tensionlog.report.rounding import ABSENT, NBSP, Reader, millimetres, percent
from tensionlog.report.rows import Row, vouched
from tensionlog.report.words import STATE_WORDS, flag_words

Cell = tuple[str, Callable[[Row, Reader], str]]
"""A column: its head, and what stands in it."""

FORCES: tuple[Cell, ...] = (
    ("Peak", lambda row, reader: reader.bare(row.pull.peak, row.reading_u)),
    ("Settled top", lambda row, reader: reader.bare(row.pull.top, row.reading_u)),
    ("At release", lambda row, reader: reader.bare(row.pull.release, row.reading_u)),
)
AIMED: tuple[Cell, ...] = (
    ("Expected", lambda row, reader: reader.bare(row.pull.expected, row.reading_u)),
    ("Loss ± u", lambda row, reader: reader.pair(row.loss, row.reading_u)),
    ("Loss %", lambda row, _: percent(row.loss_pct)),
)
TARGET: Cell = ("Target", lambda row, reader: reader.bare(row.pull.target, row.reading_u))
EVEN: Cell = ("From the median", lambda row, _: percent(row.even_pct))


def columns(reader: Reader) -> tuple[Cell, ...]:
    """The columns that this job can fill: without a calibration nothing can be aimed at."""
    told: tuple[Cell, ...] = (
        ("Step at release ± u", step_text),
        ("String behind lost", held_text),
    )
    if reader.unit == "counts":
        return (*FORCES, EVEN, *told)
    return (TARGET, *FORCES, *AIMED, *told)


def pull_table(judged: tuple[Row, ...], reader: Reader) -> Markup:
    """Write one table row for every pull; those that no longer stand are struck through."""
    shown = columns(reader)
    heads = [_head(head, reader.unit) for head, _ in shown]
    return table(
        ("String", *heads, "Clamp opened → shut", "In words"),
        (_table_row(row, reader, shown) for row in judged),
        label="All pulls",
    )


def _head(head: str, unit: str) -> str:
    """Put the unit where a number of that unit stands."""
    if head in (EVEN[0], "Loss %", "String behind lost"):
        return head
    name, pm, u = head.partition(" ± u")
    return f"{name} {unit}{NBSP}±{NBSP}u" if pm else f"{name}{u} {unit}"


def _table_row(row: Row, reader: Reader, shown: tuple[Cell, ...]) -> Markup:
    return tag(
        "tr",
        tag("th", _struck(row.name, row), scope="row"),
        *(tag("td", _struck(text(row, reader), row)) for _, text in shown),
        tag("td", clamp_text(row)),
        tag("td", in_words(row), class_="text long"),
        class_=row.state if row.state in ("look", "void", "superseded") else None,
    )


def _struck(text: str, row: Row) -> object:
    return text if row.stands or text == ABSENT else tag("s", text)


def step_text(row: Row, reader: Reader) -> str:
    """The step at the release with its u, or below what a step would have been missed."""
    pull = row.pull
    if pull.seen:
        return reader.pair(pull.drop, pull.drop_u)
    if row.drop_below is None:
        return ABSENT
    return f"not seen (below {reader.bare(row.drop_below, row.drop_below)})"


def held_text(row: Row, reader: Reader) -> str:
    """What this release told about the string behind."""
    pull = row.pull
    if pull.held_position is None:
        return "none behind"
    if pull.at_least_lost is None or not vouched(pull.at_least_lost, reader):
        return f"{pull.held_position}: {ABSENT}"
    lost = f"{pull.held_position} ≥{NBSP}{reader.amount(pull.at_least_lost)}"
    if pull.at_least_give_mm is None:
        return lost
    return f"{lost}, {millimetres(pull.at_least_give_mm)}"


def clamp_text(row: Row) -> str:
    """Which clamp was opened, and which took the string."""
    return f"{row.pull.clamp_opened or ABSENT} → {row.pull.clamp_shut or ABSENT}"


def in_words(row: Row) -> Markup:
    """State and flags in plain words; "within" goes without saying."""
    silent = row.state == "within" or (row.state, row.unit) == ("unjudged", "counts")
    said = [] if silent else [STATE_WORDS[row.state]]
    if row.off is not None and row.state in ("off", "look"):
        said[-1] += " (over)" if row.off > 0 else " (under)"
    if row.pull.kind == "lift-off":
        said.append("lift-off: the string pulled again to read what it held")
    said += [flag_words(flag) for flag in row.pull.flags]
    return joined(["; ".join(said)])
