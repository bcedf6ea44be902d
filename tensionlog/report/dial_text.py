"""The dial in words: what to set for an order, and how sure that is."""

from collections.abc import Iterator, Mapping, Sequence

from tensionlog.check.head import Advice
from tensionlog.report.guide_words import UNIT_WORDS
from tensionlog.units import from_newtons

CAUTION = "Below the frame's limit only; the frame maker's and the machine maker's word first."


def advice_line(bed: str, advice: Advice, *, unit: str) -> str:
    """What to dial for one part of the bed.

    >>> advice_line("mains", Advice(120.0, 124.0, 0.7, False, ""), unit="N")
    'mains: for 120.0 N dial 124.0 N (the pull is known to 0.70 N)'
    """
    name, order = UNIT_WORDS[unit], from_newtons(advice.order_n, unit)
    if advice.dial_n is None:
        return f"{bed}: {advice.says}"
    dial, u = from_newtons(advice.dial_n, unit), from_newtons(advice.u_n, unit)
    held = f"; {advice.says}" if advice.says else ""
    return (
        f"{bed}: for {order:.1f} {name} dial {dial:.1f} {name} "
        f"(the pull is known to {u:.2f} {name}){held}"
    )


def advice_lines(advice: Mapping[str, Advice], *, unit: str) -> Iterator[str]:
    """A line for mains and one for crosses."""
    return (advice_line(bed, one, unit=unit) for bed, one in advice.items())


def table_lines(table: Sequence[Advice], *, unit: str) -> Iterator[str]:
    """The dial table as plain lines."""
    name = UNIT_WORDS[unit]
    yield f"order {name}   dial {name}   ± {name}"
    for one in table:
        order, u = from_newtons(one.order_n, unit), from_newtons(one.u_n, unit)
        dial = "  none" if one.dial_n is None else f"{from_newtons(one.dial_n, unit):6.1f}"
        held = "  held at 5 %" if one.capped else ""
        yield f"{order:8.1f} {dial:>9} {u:6.2f}{held}"
