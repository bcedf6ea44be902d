"""How a bench stands, in a few lines for the terminal."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from tensionlog.report.rounding import places

Answer = Mapping[str, Any]

STATES: Final = {"good": "good", "watch": "WATCH", "service": "SERVICE", None: "not tested"}
OPEN: Final = {
    "raised": "NEW",
    "seen": "seen",
    "acted": "acted on, not yet shown to help",
    "closed": "closed",
}


def status_lines(answer: Answer, *, closed: bool = False) -> Iterator[str]:
    """Say how a bench stands: cell, head, clamps, then what asks for something.

    Args:
        answer: As `status --json` gives it.
        closed: Whether closed alerts are told as well, not only counted.
    """
    yield f"Bench {answer['bench']}"
    yield f"  cell     {_cell(answer['cell'])}"
    yield f"  head     {_head(answer['head'])}"
    for clamp in answer["clamps"]:
        yield f"  clamp {clamp['clamp']}  {_clamp(clamp)}"
    alerts = [alert for alert in answer["alerts"] if alert["state"] != "closed"]
    for alert in answer["alerts"] if closed else alerts:
        yield from alert_lines(alert, whole=False)
    done = len(answer["alerts"]) - len(alerts)
    yield f"{_count(len(alerts), 'open alert')}, {done} closed."


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _cell(cell: Answer) -> str:
    if cell["checked"] is None:
        return "no morning check yet"
    said = [f"{cell['verdict'] or 'no verdict'} on {cell['checked'][:10]}"]
    if cell["span_error_pct"] is not None:
        u = cell["u_span_error_pct"]
        said.append(f"span {_pair(cell['span_error_pct'], u)} %")
    if cell["problem"]:
        said.append(str(cell["problem"]))
    return ", ".join(said)


def _head(head: Answer) -> str:
    if head["error_pct"] is None:
        return "not compared with its dial yet"
    return f"{head['error_pct']:+.1f} % off its dial, {str(head['checked'])[:10]}"


def _clamp(clamp: Answer) -> str:
    said = [STATES.get(clamp["state"], str(clamp["state"]))]
    if clamp["give_mm"] is not None:
        said.append(f"gives {_pair(clamp['give_mm'], clamp['u_give_mm'], sign='')} mm")
    elif clamp["hand_off_loss_N"] is not None:
        said.append(f"lost {clamp['hand_off_loss_N']:.1f} N; {clamp['why_no_mm']}")
    if clamp["since"]:
        said.append(f"since {clamp['since'][:10]}")
    if clamp["problem"]:
        said.append(f"last test: {clamp['problem']}")
    if clamp["needed"] and clamp["tested"]:
        said.append(f"{clamp['needed']} more tests before a change can be told")
    due = clamp["service_due"]
    if due and due["at"]:
        until = f" to {due['latest']}" if due["latest"] else " or later"
        said.append(f"service due about {due['at']} ({due['earliest']}{until})")
    if clamp["served"]:
        said.append(f"{clamp['served']['what']} on {clamp['served']['at'][:10]}")
    return ", ".join(said)


def alert_lines(alert: Answer, *, whole: bool = True) -> Iterator[str]:
    """One alert: what has happened, what to do, its name.

    Args:
        alert: As `status --json` gives it.
        whole: Whether what it rests on is told as well.
    """
    again = f", back since {alert['reopened'][-1][:10]}" if alert["reopened"] else ""
    yield ""
    yield (
        f"{OPEN[alert['state']]}: {alert['text']} "
        f"({alert['cause']}, {alert['raised'][:10]}{again})"
    )
    if alert["state"] != "closed":
        yield f"  do:   {alert['do']}"
    if whole:
        yield from (f"  - {line}" for line in alert["evidence"])
        if alert["runner_up"]:
            yield f"  It could also be {alert['runner_up']}."
    yield f"  name: {alert['alert']}"


def _pair(value: float, u: float | None, sign: str = "+") -> str:
    """A number with its doubt, as many digits as that allows."""
    decimals = 2 if not u or u <= 0.0 else max(0, places(u))
    doubt = "" if u is None else f" ± {u:.{decimals}f}"
    return f"{value:{sign}.{decimals}f}{doubt}"
