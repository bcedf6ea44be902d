"""The ticket's fields, as people fill them in, to a ticket or to what is wrong with each."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, Final

from tensionlog.errors import PlanError
from tensionlog.page.words import Words
from tensionlog.pipeline.dial_advice import with_dial
from tensionlog.plan import read_ticket, tensions
from tensionlog.report.rounding import Reader
from tensionlog.units import from_newtons, to_newtons

LONGEST: Final = 120
"""Characters of one field; a name longer than that is no name."""

TEXTS: Final = ("ref", "owner", "frame", "string", "reel", "sport", "operator")
COUNTS: Final = {"mains": (1, 60), "crosses": (0, 60)}
NUMBERS: Final = {"gauge_mm": (0.3, 3.0), "head_long_mm": (100, 500), "head_wide_mm": (80, 400)}
CLAMPS: Final = {"left": "A", "right": "B", "start": "B", "crosses": "AB"}
ORDERS: Final = ("alternate", "left-then-right")

TYPICAL: Final[dict[str, dict[str, str]]] = {
    "badminton": {"mains": "22", "crosses": "21", "gauge_mm": "0.68",
                  "head_long_mm": "245", "head_wide_mm": "190"},
    "tennis": {"mains": "16", "crosses": "19", "gauge_mm": "1.28",
               "head_long_mm": "335", "head_wide_mm": "255"},
    "squash": {"mains": "14", "crosses": "18", "gauge_mm": "1.16",
               "head_long_mm": "345", "head_wide_mm": "215"},
}  # fmt: skip
"""What such a job usually has (common practice, no source); every field can be changed."""

KEPT_FROM_BASE: Final = (
    "clamps", "EA_N", "EA_mains_N", "EA_crosses_N", "u_EA_pct", "crosses_from",
    "prestretch_pct", "sequence",
)  # fmt: skip
"""What a ticket takes from the job it starts from, without a field of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """What came of the fields.

    Attributes:
        ticket: As a `job-start` note carries it, or None where something is wrong.
        errors: Field to what is wrong with it.
        over_limit: Whether only the frame's limit stands against it.
        overridden_by: Who answers for a target over the limit, or None.
    """

    ticket: Mapping[str, Any] | None
    errors: Mapping[str, str] = field(default_factory=dict)
    over_limit: bool = False
    overridden_by: str | None = None


def read_form(
    fields: Mapping[str, str],
    words: Words,
    *,
    unit: str,
    base: Mapping[str, Any] | None = None,
    new_ref: str = "",
) -> Filled:
    """Read the fields of a ticket.

    Args:
        fields: Name to what was typed.
        words: The texts, for what is wrong.
        unit: The workshop's unit of tension.
        base: Ticket of the job it starts from, or None.
        new_ref: Reference where none was typed.
    """
    wrong: dict[str, str] = {}
    ticket: dict[str, Any] = {"ref": new_ref}
    for name in TEXTS:
        text = fields.get(name, "").strip()
        if len(text) > LONGEST:
            wrong[name] = words("form.too-long", most=LONGEST)
        elif text:
            ticket[name] = text
    for name, (low, high) in COUNTS.items():
        _take(ticket, wrong, name, fields, words, low, high, int)
    for name, (least, most) in NUMBERS.items():
        _take(ticket, wrong, name, fields, words, least, most, float)
    _tension(ticket, wrong, fields, words, unit)
    _limit(ticket, wrong, fields, words, unit)
    ticket = _dial(ticket, wrong, fields, words, unit)
    order = fields.get("order", "") or "alternate"
    if order not in ORDERS:
        wrong["order"] = words("form.order")
    ticket["order"] = order
    _complete(ticket, base or {})
    over = _over(ticket)
    by = fields.get("limit_by", "").strip()[:LONGEST] or None
    if over and by is None:
        reader = Reader(unit)
        wrong["tension"] = words(
            "form.over-limit", limit=reader.order(ticket["frame_limit_N"]), ordered=over(reader)
        )
    if not wrong:
        _strung(ticket, wrong)
    if wrong:
        return Filled(ticket=None, errors=wrong, over_limit=bool(over and by is None))
    return Filled(ticket=ticket, overridden_by=by if over else None)


def ordered(
    fields: Mapping[str, str], words: Words, *, unit: str, base: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """What the fields order so far, for the dial's advice; what is wrong is left out.

    Args:
        fields: Name to what was typed.
        words: The texts.
        unit: The workshop's unit of tension.
        base: Ticket of the job it starts from, or None.
    """
    found: dict[str, Any] = {}
    _tension(found, {}, fields, words, unit)
    _limit(found, {}, fields, words, unit)
    if base and "prestretch_pct" in base:
        found["prestretch_pct"] = base["prestretch_pct"]
    return found


def fields_of(ticket: Mapping[str, Any], *, unit: str) -> dict[str, str]:
    """The fields as they would have been typed for this ticket: where a new job starts."""
    said = {name: str(ticket[name]) for name in TEXTS if ticket.get(name) and name != "ref"}
    said |= {name: str(ticket[name]) for name in (*COUNTS, "gauge_mm") if ticket.get(name)}
    for name in ("head_long", "head_wide"):
        if isinstance(ticket.get(f"{name}_m"), int | float):
            said[f"{name}_mm"] = _bare(1000.0 * ticket[f"{name}_m"])
    mains, crosses = ticket.get("target_mains_N"), ticket.get("target_crosses_N")
    if isinstance(mains, int | float):
        said["tension"] = _bare(from_newtons(mains, unit), 2)
        if isinstance(crosses, int | float) and crosses != mains:
            said["tension"] += "/" + _bare(from_newtons(crosses, unit), 2)
    if isinstance(ticket.get("frame_limit_N"), int | float):
        said["limit"] = _bare(from_newtons(ticket["frame_limit_N"], unit), 2)
    if ticket.get("order") in ORDERS:
        said["order"] = str(ticket["order"])
    return said


def _bare(number: float, decimals: int = 1) -> str:
    return f"{number:.{decimals}f}".rstrip("0").rstrip(".")


def _take(
    ticket: dict[str, Any],
    wrong: dict[str, str],
    name: str,
    fields: Mapping[str, str],
    words: Words,
    low: float,
    high: float,
    kind: Callable[[str], float],
) -> None:
    text = fields.get(name, "").strip().replace(",", ".")
    needed = name in COUNTS
    if not text and not needed:
        return
    try:
        number = kind(text)
    except ValueError:
        number = float("nan")
    if not low <= number <= high:
        wrong[name] = words("form.number", low=f"{low:g}", high=f"{high:g}")
    elif name.endswith("_mm") and name.startswith("head"):
        ticket[name.replace("_mm", "_m")] = round(number / 1000.0, 5)
    else:
        ticket[name] = number


def _tension(
    ticket: dict[str, Any],
    wrong: dict[str, str],
    fields: Mapping[str, str],
    words: Words,
    unit: str,
) -> None:
    text = fields.get("tension", "").strip().replace(",", ".")
    try:
        targets = tensions(text, unit=unit)
    except PlanError:
        wrong["tension"] = words("form.tension", unit=unit)
        return
    low, high = to_newtons(5, "lbf"), to_newtons(100, "lbf")
    if not all(low <= n <= high for n in targets.values()):
        reader = Reader(unit)
        wrong["tension"] = words(
            "form.tension-range", low=reader.order(low), high=reader.order(high)
        )
        return
    ticket.update(targets)


def _dial(
    ticket: dict[str, Any],
    wrong: dict[str, str],
    fields: Mapping[str, str],
    words: Words,
    unit: str,
) -> dict[str, Any]:
    """The ticket with the dial that is used, where somebody named it."""
    text = fields.get("dial", "").strip()
    if not text:
        return ticket
    asked: dict[str, str] = {}
    used: dict[str, Any] = {}
    _tension(used, asked, {"tension": text}, words, unit)
    if asked:
        wrong["dial"] = asked["tension"]
        return ticket
    return with_dial(ticket, mains_n=used["target_mains_N"], crosses_n=used["target_crosses_N"])


def _limit(
    ticket: dict[str, Any],
    wrong: dict[str, str],
    fields: Mapping[str, str],
    words: Words,
    unit: str,
) -> None:
    text = fields.get("limit", "").strip().replace(",", ".")
    if not text:
        return
    try:
        limit_n = to_newtons(float(text), unit)
    except ValueError:
        limit_n = float("nan")
    if isfinite(limit_n) and 0.0 < limit_n <= to_newtons(150, "lbf"):
        ticket["frame_limit_N"] = round(limit_n, 3)
    else:
        wrong["limit"] = words("form.limit", unit=unit)


def _over(ticket: Mapping[str, Any]) -> Callable[[Reader], str] | None:
    """The highest target where it lies over the frame's limit, ready to be said."""
    limit = ticket.get("frame_limit_N")
    ordered = [ticket.get("target_mains_N"), ticket.get("target_crosses_N")]
    highest = max((n for n in ordered if n is not None), default=0.0)
    # Half a thousandth of a newton is what converting to and from pounds may leave.
    if limit is None or highest <= limit + 5e-3:
        return None
    return lambda reader: reader.order(highest)


def _complete(ticket: dict[str, Any], base: Mapping[str, Any]) -> None:
    same_bed = all(base.get(n) == ticket.get(n) for n in COUNTS)
    for name in KEPT_FROM_BASE:
        if name in base and (name != "sequence" or same_bed):
            ticket[name] = base[name]
    ticket.setdefault("clamps", dict(CLAMPS))
    ticket.setdefault("u_EA_pct", 30)


def _strung(ticket: Mapping[str, Any], wrong: dict[str, str]) -> None:
    try:
        read_ticket(ticket)
    except PlanError as error:
        wrong["mains"] = str(error)
