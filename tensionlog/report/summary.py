"""The job in a terminal: at most thirty lines of plain text, eighty columns wide."""

import textwrap
from collections.abc import Iterator

from tensionlog.report.basis import Basis, basis_info
from tensionlog.report.rounding import MINUS, NBSP, Reader
from tensionlog.report.says import (
    calibration_text,
    clamp_sentence,
    dead_band_text,
    faults_text,
    lost_text,
    redone_text,
    side_sentence,
)
from tensionlog.report.spread import Group, Spread, spread_info
from tensionlog.report.verdict import Verdict, common_sentence, reasons, sentence, verdict_info
from tensionlog.report.view import JobView
from tensionlog.report.words import listed

COLUMNS, LINES = 80, 30
LOOK_AT_MOST = 6
PLAIN = {MINUS: "-", NBSP: " ", "≥": ">=", "φ": "phi", "’": "'", "–": "-", "→": ">", "·": "-"}
"""What a terminal's code page may lack; ± stands in all of the common ones."""

CLAIM = "This is what was pulled; the strung bed holds less. Not a safety device."


def summary(view: JobView) -> str:
    """Say the job in a few lines; names from the ticket lose what could move a cursor."""
    lines = [line for part in _parts(view) for line in _wrapped(part)]
    kept = (
        lines if len(lines) < LINES else [*lines[: LINES - 2], "... the report has the rest."]
    )
    return "\n".join([*kept, *_wrapped(CLAIM)]) + "\n"


def plain(text: str) -> str:
    r"""Leave only what any terminal can print.

    >>> plain("R5\x1b[31m −3.2 N")
    'R5?[31m -3.2 N'
    """
    for fancy, simple in PLAIN.items():
        text = text.replace(fancy, simple)
    return "".join(c if c.isprintable() else "?" for c in text)


def _wrapped(part: str) -> list[str]:
    indent = "  " if part.startswith("  ") else ""
    return textwrap.wrap(
        plain(part.strip()),
        COLUMNS,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_on_hyphens=False,
    )


def _parts(view: JobView) -> Iterator[str]:
    raw, verdict = view.job.raw, verdict_info(view)
    who = [str(raw[key])[:30] for key in ("owner", "frame") if raw.get(key)]
    yield " · ".join([f"Job {view.job.ref}", f"{view.recorded_on:%Y-%m-%d %H:%M}", *who])
    yield sentence(verdict)
    common = common_sentence(verdict)
    if common:
        yield common
    yield from _look(verdict, view)
    if verdict.made and verdict.missing:
        yield f"No pull stands for {listed(list(verdict.missing))}."
    yield from _together(spread_info(view), view.reader)
    yield from _basis(basis_info(view), view.reader)


def _look(verdict: Verdict, view: JobView) -> Iterator[str]:
    for row in verdict.look[:LOOK_AT_MOST]:
        yield f"  {row.name}: {'; '.join(reasons(row, view.reader, view.limits))}"


def _together(spread: Spread, reader: Reader) -> Iterator[str]:
    for group in spread.groups[:2]:
        if group.n:
            yield group_line(group, spread.of, reader)
    if spread.side_u is not None:
        yield side_sentence(spread, reader)
    for clamp in spread.clamps:
        yield clamp_sentence(clamp)
    for again in spread.redone[:3]:
        yield f"Redone: {redone_text(again, reader)}"
    if spread.early:
        yield f"Clamp shut early: {listed(list(spread.early))}."


def group_line(group: Group, of: str, reader: Reader) -> str:
    """Mean, scatter and count of one group, and who is far from its median."""
    mean, sd = reader.full(group.mean, group.u_mean), reader.bare(group.sd, group.u_mean)
    far = f"; far from the median: {listed(list(group.outliers))}" if group.outliers else ""
    return f"{group.name.capitalize()}: mean {of} {mean}, sd {sd}, n {group.n}{far}."


def _basis(basis: Basis, reader: Reader) -> Iterator[str]:
    known = "measured" if basis.phi_measured else "assumed"
    hidden = dead_band_text(basis, reader)
    yield (
        f"Hidden by friction (φ {basis.phi_max:.2f}, {known}): {hidden}; "
        f"{basis.could_show_1mm} of {basis.releases} releases could show 1 mm."
    )
    yield f"Lost on the line: {lost_text(basis)}. Faults: {faults_text(basis)}."
    yield f"Calibration: {calibration_text(basis)}."
