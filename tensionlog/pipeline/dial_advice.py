"""What to dial for an order: only on a day whose check is good, never past the frame."""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from tensionlog.check.head import Advice, HeadResult
from tensionlog.pipeline.heads import recent_head

if TYPE_CHECKING:
    from tensionlog.store import Store

BEDS: Final = {"mains": "target_mains_N", "crosses": "target_crosses_N"}
"""Part of the bed to the ticket's key of its tension."""


def todays_verdict(store: "Store", *, bench: str, at: datetime) -> str | None:
    """Verdict of the latest check on the day of `at`; None where none gave one."""
    today = at.astimezone().date()
    made = [
        stored.body.get("verdict")
        for stored in store.answers("check")
        if stored.bench == bench and stored.started.astimezone().date() == today
    ]
    return made[-1] if made else None


def head_today(store: "Store", *, bench: str, at: datetime) -> HeadResult | None:
    """The head as the last two weeks show it, or None."""
    return recent_head(store, bench=bench, at=at)


def dial_advice(
    store: "Store", ticket: Mapping[str, Any], *, bench: str, at: datetime
) -> dict[str, Advice]:
    """What to dial for a ticket, by part of the bed; empty where the head is not known.

    Args:
        store: The database.
        ticket: Of the job, as the `job-start` note carries it.
        bench: Whose head.
        at: Now.
    """
    head = head_today(store, bench=bench, at=at)
    if head is None:
        return {}
    verdict = todays_verdict(store, bench=bench, at=at)
    return {
        bed: head.advise(
            order_n,
            check_verdict=verdict,
            limit_n=_force(ticket.get("frame_limit_N")),
            boost_pct=_force(ticket.get("prestretch_pct")) or 0.0,
        )
        for bed, order_n in _orders(ticket)
    }


def with_dial(
    ticket: Mapping[str, Any], *, mains_n: float | None, crosses_n: float | None
) -> dict[str, Any]:
    """The ticket with the dial that is used; `dial_N` is that of the mains."""
    used = {"dial_N": mains_n, "dial_crosses_N": crosses_n}
    return {**ticket, **{key: round(n, 3) for key, n in used.items() if n is not None}}


def _orders(ticket: Mapping[str, Any]) -> list[tuple[str, float]]:
    found = [(bed, _force(ticket.get(key))) for bed, key in BEDS.items()]
    return [(bed, order_n) for bed, order_n in found if order_n]


def _force(given: object) -> float | None:
    if isinstance(given, int | float) and not isinstance(given, bool):
        return float(given)
    return None
