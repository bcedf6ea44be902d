"""What the mornings show, a sentence for each series."""

from collections.abc import Mapping
from typing import Any, Final

NAMES: Final = {
    "zero": "Zero where the masses hang",
    "span": "Span of the cell",
    "head": "Head against its dial",
}


def drift_sentence(one: Mapping[str, Any]) -> str:
    """One series in one sentence: steady, or moved, since when and how long it has.

    >>> drift_sentence({"name": "span", "mornings": 2, "needed": 4, "size": None})
    'Span of the cell: 2 more mornings before it can be watched.'
    """
    name = NAMES.get(one["name"], one["name"])
    missing = one["needed"] - one["mornings"]
    if missing > 0:
        days = "morning" if missing == 1 else "mornings"
        return f"{name}: {missing} more {days} before it can be watched."
    if one["size"] is None:
        return f"{name}: steady over {one['mornings']} mornings."
    unit = one["unit"]
    size = f"{one['size']:+.2f} ± {one['u_size']:.2f} {unit}"
    since = "" if one["since"] is None else f" since {one['since'][:10]}"
    if not one["alert"]:
        return f"{name}: moved by {size}{since}, less than matters."
    return f"{name}: LOOK, moved by {size}{since}.{_left(one)}"


def _left(one: Mapping[str, Any]) -> str:
    until = one.get("tolerance_reached") or {}
    if until.get("t") is None:
        return ""
    early, late = until.get("earliest"), until.get("latest")
    between = f" (between {_day(early, 'now')} and {_day(late, 'never')})"
    return f" At this rate the tolerance is reached on {until['t'][:10]}{between}."


def _day(at: str | None, otherwise: str) -> str:
    return otherwise if at is None else at[:10]
