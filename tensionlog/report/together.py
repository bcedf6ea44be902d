"""What the strings say together, in a small table and a few sentences."""

from collections.abc import Iterator

from tensionlog.report.markup import Markup, section, table, tag
from tensionlog.report.rounding import Reader, millimetres
from tensionlog.report.spread import ClampEvidence, Group, Redone, Spread, spread_info
from tensionlog.report.view import JobView
from tensionlog.report.words import listed, plural


def together_section(view: JobView) -> Markup | None:
    """Write scatter, sides, clamps and what was redone; None where nothing stands."""
    spread = spread_info(view)
    if not any(group.n for group in spread.groups) and not spread.redone:
        return None
    return section(
        "Together",
        _group_table(spread, view.reader),
        *(tag("p", line) for line in _outlier_lines(spread)),
        tag("h3", "Left against right"),
        tag("p", side_sentence(spread, view.reader)),
        *_clamp_part(spread),
        *_redone_part(spread, view.reader),
        *_early_part(spread),
    )


def _group_table(spread: Spread, reader: Reader) -> Markup:
    unit = reader.unit
    head = ("", f"mean {spread.of} {unit}", f"scatter (sd) {unit}", f"median {unit}", "strings")
    return table(
        head,
        (_group_row(group, reader) for group in spread.groups if group.n),
        label=f"Scatter of the {spread.of}",
        class_="plain",
    )


def _group_row(group: Group, reader: Reader) -> Markup:
    name = {"left": "mains, left", "right": "mains, right"}.get(group.name, group.name)
    cells = (
        reader.pair(group.mean, group.u_mean),
        reader.bare(group.sd, group.u_mean),
        reader.bare(group.median, group.u_mean),
        str(group.n),
    )
    return tag("tr", tag("th", name, scope="row"), *(tag("td", cell) for cell in cells))


def _outlier_lines(spread: Spread) -> Iterator[str]:
    for group in spread.groups[:2]:
        if group.outliers:
            yield f"Far from the median of the {group.name}: {listed(list(group.outliers))}."


def side_sentence(spread: Spread, reader: Reader) -> str:
    """Say whether the two sides of the mains differ by more than their scatter."""
    difference, u = spread.side_difference, spread.side_u
    if difference is None or u is None:
        return "Not enough mains on both sides to compare them."
    size = reader.full(abs(difference), u)
    if abs(difference) <= 2.0 * u:
        return (
            f"The sides cannot be told apart: the means of their {spread.of} differ by {size}."
        )
    more = "left" if difference > 0 else "right"
    return f"The mean {spread.of} of the {more} mains is higher by {size}."


def _clamp_part(spread: Spread) -> list[Markup]:
    if not spread.clamps:
        return []
    lines = [tag("p", clamp_sentence(clamp)) for clamp in spread.clamps]
    note = (
        "Where each clamp stays on its own side, a difference between clamps may be the "
        "side’s. A step that was not seen is one too small to see, not none."
    )
    return [tag("h3", "Clamp against clamp"), *lines, tag("p", note, class_="note")]


def clamp_sentence(clamp: ClampEvidence) -> str:
    """Say what the releases told about one clamp."""
    said = (
        f"Clamp {clamp.clamp}: a step at {clamp.seen} of {plural(clamp.releases, 'release')} "
        f"(95 % interval {100 * clamp.low:.0f} to {100 * clamp.high:.0f} %)"
    )
    if clamp.most_give_mm is None:
        return said + "."
    return f"{said}; most given, at least {millimetres(clamp.most_give_mm)} on {clamp.at}."


def _redone_part(spread: Spread, reader: Reader) -> list[Markup]:
    if not spread.redone:
        return []
    lines = (tag("li", redone_text(again, reader)) for again in spread.redone)
    return [tag("h3", "Redone"), tag("ul", *lines)]


def redone_text(again: Redone, reader: Reader) -> str:
    """Say what a void pull read and what stands in its place."""
    given = f"read {reader.amount(again.release)}" if again.release else "gave no reading"
    read = f"{again.name} (pull {again.number}) {given}"
    if again.stood_number is None:
        return f"{read}; nothing stands in its place."
    stood = "no reading" if again.stood_release is None else reader.amount(again.stood_release)
    return f"{read}; pull {again.stood_number} stands with {stood}."


def _early_part(spread: Spread) -> list[Markup]:
    if not spread.early:
        return []
    said = (
        f"At {plural(len(spread.early), 'pull')} the clamp was shut before the string had "
        f"settled: {listed(list(spread.early))}. The string goes on relaxing in the clamp."
    )
    return [tag("h3", "Shut early"), tag("p", said)]
