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
        return f"{name}, {one['mornings']} mornings: {_slow(one) or 'steady'}."
    unit = one["unit"]
    size = f"{one['size']:+.2f} ± {one['u_size']:.2f} {unit}"
    since = "" if one["since"] is None else f" since {one['since'][:10]}"
    if not one["alert"]:
        return f"{name}: moved by {size}{since}, less than matters."
    return f"{name}: LOOK, moved by {size}{since}.{_left(one)}"


def _slow(one: Mapping[str, Any]) -> str:
    """A trend whose interval leaves out nothing-at-all, though no chart has alarmed."""
    slope, low, high = (one.get(f"slope_{key}") for key in ("per_day", "low", "high"))
    if slope is None or low is None or high is None or low <= 0 <= high:
        return ""
    unit = one["unit"]
    return (
        f"no alarm, but creeping by {slope:+.3f} {unit} a day ({low:+.3f} to {high:+.3f})"
        f"{_left(one).replace(' At', '; at').rstrip('.')}"
    )


def _left(one: Mapping[str, Any]) -> str:
    until = one.get("tolerance_reached") or {}
    if until.get("t") is None:
        return ""
    early, late = until.get("earliest"), until.get("latest")
    between = f" (between {_day(early, 'now')} and {_day(late, 'never')})"
    return f" At this rate the tolerance is reached on {until['t'][:10]}{between}."


def _day(at: str | None, otherwise: str) -> str:
    return otherwise if at is None else at[:10]
