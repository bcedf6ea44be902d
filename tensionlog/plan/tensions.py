"""Tensions as people write them on a ticket."""

import re

from tensionlog.errors import PlanError
from tensionlog.units import to_newtons

_TENSION = re.compile(r"\s*([0-9.]+)\s*(?:/\s*([0-9.]+))?\s*(lbf|lbs|lb|kgf|kg|N|n)?\s*")
_UNITS = {"lb": "lbf", "lbs": "lbf", "kg": "kgf", "n": "N"}


def tensions(text: str, *, unit: str) -> dict[str, float]:
    """Targets from what people write: mains/crosses in half steps, with or without unit.

    >>> tensions("26/24 lb", unit="N")
    {'target_mains_N': 115.654, 'target_crosses_N': 106.757}

    Raises:
        PlanError: It is no tension.
    """
    found = _TENSION.fullmatch(text)
    try:
        mains = float(found[1]) if found else 0.0
        crosses = float(found[2]) if found and found[2] else mains
    except ValueError:
        found = None
    if not found:
        raise PlanError(f"{text!r} is no tension. Write it as 26/24, or 26/24 lb.")
    unit = _UNITS.get(found[3], found[3]) if found[3] else unit
    return {
        "target_mains_N": round(to_newtons(mains, unit), 3),
        "target_crosses_N": round(to_newtons(crosses, unit), 3),
    }
