"""Where somebody stands who typed no command, and the one step that comes next."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

Answer = Mapping[str, Any]

NO_BENCH: Final = "No bench is set up yet."
WITHOUT_HARDWARE: Final = "Next: tensionlog demo (nothing to plug in), or, with a load cell"
WITH_HARDWARE: Final = "  at hand: tensionlog ports, then tensionlog bench set --help."
NOTHING_YET: Final = "Nothing is recorded yet."
ALL: Final = "All commands: tensionlog --help"


def where_lines(
    *, bench: str | None, port: str | None, stands: Answer | None, now: datetime
) -> Iterator[str]:
    """Say where the bench stands and what to do next.

    Args:
        bench: Its name, or None where nobody has set one up.
        port: What it opens, or None.
        stands: As `status --json` gives it, or None where nothing is stored.
        now: This moment, in the reader's zone.
    """
    if bench is None and stands is None:
        yield from (NO_BENCH, WITHOUT_HARDWARE, WITH_HARDWARE, ALL)
        return
    name = bench or (stands or {})["bench"]
    yield f"Bench {name}, port {port}." if port else f"Bench {name}, no port set."
    if stands is None:
        yield NOTHING_YET
    else:
        yield _last_check(stands["cell"], now)
        yield _alerts(_open(stands))
    yield f"Next: {_next(port, stands, now)}"
    yield ALL


def _open(stands: Answer) -> list[Answer]:
    return [alert for alert in stands["alerts"] if alert["state"] != "closed"]


def _last_check(cell: Answer, now: datetime) -> str:
    if cell["checked"] is None:
        return "No morning check yet."
    days = _days_ago(cell, now)
    when = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
    return f"Last morning check {cell['checked'][:10]} ({when}): {cell['verdict'] or 'none'}."


def _days_ago(cell: Answer, now: datetime) -> int:
    checked = datetime.fromisoformat(cell["checked"]).astimezone(now.tzinfo)
    return (now.date() - checked.date()).days


def _alerts(alerts: list[Answer]) -> str:
    if not alerts:
        return "No open alert."
    causes = ", ".join(dict.fromkeys(str(alert["cause"]) for alert in alerts))
    return f"{len(alerts)} open alert{'s' if len(alerts) > 1 else ''}: {causes}."


def _next(port: str | None, stands: Answer | None, now: datetime) -> str:
    """The one step: what stops work first, then what the morning asks for, then work."""
    if stands is not None and any(a["state"] in ("raised", "seen") for a in _open(stands)):
        return "tensionlog alerts says what to do."
    if port is None:
        return "tensionlog bench set --port … ('tensionlog ports' lists them)."
    if stands is None:
        return "tensionlog device check looks at cell and wiring, then tensionlog check."
    cell = stands["cell"]
    if cell["checked"] is None or _days_ago(cell, now) > 0:
        return "tensionlog check, before the first job of the day."
    if cell["verdict"] != "good":
        return f"the check said {cell['verdict'] or 'nothing'}: tensionlog report --check."
    return "tensionlog serve opens the bench page for the next job."
