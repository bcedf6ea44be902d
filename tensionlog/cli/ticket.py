"""The ticket of a job, from a file or from flags, checked before anything is recorded."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tensionlog.errors import PlanError
from tensionlog.plan.tensions import tensions as tensions


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
