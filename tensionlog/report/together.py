"""What the strings say together, in a small table and a few sentences."""

from collections.abc import Iterator

from tensionlog.report.markup import Markup, section, table, tag
from tensionlog.report.rounding import Reader
from tensionlog.report.says import clamp_sentence, redone_text, side_sentence
from tensionlog.report.spread import Group, Spread, spread_info
from tensionlog.report.view import JobView
from tensionlog.report.words import listed, plural


def together_section(view: JobView) -> Markup | None:
    """Write scatter, sides, clamps and what was redone; None where nothing stands."""
    spread = spread_info(view)
    if not any(group.n for group in spread.groups) and not spread.redone:
        return None
    return section(
        "The bed as a whole",
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


def _clamp_part(spread: Spread) -> list[Markup]:
    if not spread.clamps:
        return []
    lines = [tag("p", clamp_sentence(clamp)) for clamp in spread.clamps]
    note = (
        "Where each clamp stays on its own side, a difference between clamps may be the "
        "side’s. A step that was not seen is one too small to see, not none."
    )
    return [tag("h3", "Clamp against clamp"), *lines, tag("p", note, class_="note")]


def _redone_part(spread: Spread, reader: Reader) -> list[Markup]:
    if not spread.redone:
        return []
    lines = (tag("li", redone_text(again, reader)) for again in spread.redone)
    return [tag("h3", "Redone"), tag("ul", *lines)]


def _early_part(spread: Spread) -> list[Markup]:
    if not spread.early:
        return []
    said = (
        f"At {plural(len(spread.early), 'pull')} the clamp was shut before the string had "
        f"settled: {listed(list(spread.early))}. The string goes on relaxing in the clamp."
    )
    return [tag("h3", "Shut early"), tag("p", said)]
