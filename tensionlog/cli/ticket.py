"""The ticket of a job, from a file or from flags, checked before anything is recorded."""

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tensionlog.errors import PlanError
from tensionlog.units import to_newtons

_TENSION = re.compile(r"\s*([0-9.]+)\s*(?:/\s*([0-9.]+))?\s*(lbf|lbs|lb|kgf|kg|N|n)?\s*")
_UNITS = {"lb": "lbf", "lbs": "lbf", "kg": "kgf", "n": "N"}


def read_ticket_file(path: Path) -> dict[str, Any]:
    """Read a ticket from a JSON or TOML file, whichever its name says.

    Raises:
        PlanError: It cannot be read, or is no ticket.
    """
    import tomllib  # `--help` has no need of it

    try:
        text = path.read_text(encoding="utf-8")
        is_toml = path.suffix.lower() == ".toml"
        found = tomllib.loads(text) if is_toml else json.loads(text)
    except (OSError, ValueError) as error:
        raise PlanError(f"cannot read the ticket {path}: {error}.") from error
    if isinstance(found, Mapping) and isinstance(found.get("job"), Mapping):
        found = found["job"]
    if not isinstance(found, dict):
        raise PlanError(f"the ticket {path} is {type(found).__name__}, not named values.")
    return found


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


def checked(ticket: Mapping[str, Any]) -> dict[str, Any]:
    """The ticket, if it can be strung.

    Raises:
        PlanError: It cannot; the text says why.
    """
    from tensionlog.plan import read_ticket

    job = read_ticket(ticket)
    if not job.sequence:
        raise PlanError("the ticket has no strings. Give the numbers of mains and crosses.")
    return dict(ticket)
