"""The pull table: every number that the page rests on, in the order pulled."""

from tensionlog.report.markup import Markup, joined, table, tag
from tensionlog.report.rounding import ABSENT, Reader, millimetres, percent
from tensionlog.report.rows import Row
from tensionlog.report.words import STATE_WORDS, flag_words


def pull_table(judged: tuple[Row, ...], reader: Reader) -> Markup:
    """Write one table row for every pull; those that no longer stand are struck through."""
    unit = reader.unit
    head = (
        "String",
        f"Target {unit}" if unit != "counts" else "Target",
        f"Peak {unit}",
        f"Settled top {unit}",
        f"At release {unit}",
        f"Expected {unit}",
        f"Loss {unit} ±\u00a0u",
        "Loss %",
        f"Step at release {unit} ±\u00a0u",
        "String behind lost at least",
        "Clamp opened → shut",
        "In words",
    )
    return table(head, (_table_row(row, reader) for row in judged), label="All pulls")


def _table_row(row: Row, reader: Reader) -> Markup:
    pull, u = row.pull, row.reading_u
    calibrated = row.unit != "counts"
    numbers = (
        reader.bare(pull.target if calibrated else None, u),
        reader.bare(pull.peak, u),
        reader.bare(pull.top, u),
        reader.bare(pull.release, u),
        reader.bare(pull.expected if calibrated else None, u),
        reader.pair(row.loss, u),
        percent(row.loss_pct),
        step_text(row, reader),
        held_text(row, reader),
    )
    return tag(
        "tr",
        tag("th", _struck(row.name, row), scope="row"),
        *(tag("td", _struck(number, row)) for number in numbers),
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
    if pull.at_least_lost is None:
        return f"{pull.held_position}: {ABSENT}"
    lost = f"{pull.held_position}: {reader.amount(pull.at_least_lost)}"
    if pull.at_least_give_mm is None:
        return lost
    return f"{lost}, {millimetres(pull.at_least_give_mm)}"


def clamp_text(row: Row) -> str:
    """Which clamp was opened, and which took the string."""
    return f"{row.pull.clamp_opened or ABSENT} → {row.pull.clamp_shut or ABSENT}"


def in_words(row: Row) -> Markup:
    """State and flags in plain words; "within" goes without saying."""
    said = [] if row.state == "within" else [STATE_WORDS[row.state]]
    if row.off is not None and row.state in ("off", "look"):
        said[-1] += " (over)" if row.off > 0 else " (under)"
    if row.pull.kind == "lift-off":
        said.append("lift-off: the string pulled again to read what it held")
    said += [flag_words(flag) for flag in row.pull.flags]
    return joined(["; ".join(said)])
