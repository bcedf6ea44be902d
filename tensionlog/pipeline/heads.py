"""What the head pulls, from the head checks that the database keeps."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from tensionlog.check.head import HeadPull, HeadResult, analyse_head
from tensionlog.errors import CalibrationError

if TYPE_CHECKING:
    from tensionlog.store import Store

RECENT_DAYS: Final = 14.0
"""Two weekly checks: what is older may be another spring."""


class HeadCheck(NamedTuple):
    """One head check, in its place.

    Attributes:
        recording_id: The sitting's.
        started: When the sitting began.
        result: What it found.
    """

    recording_id: int
    started: datetime
    result: HeadResult


def head_of(
    pulls: Sequence[Mapping[str, Any]], *, u_cell_pct: float = 0.0
) -> HeadResult | None:
    """The head check that a recording's answer holds, or None where it holds none.

    Args:
        pulls: Answers of the head check, one a pull.
        u_cell_pct: Standard uncertainty of the cell's span that morning, per cent.
    """
    made = [
        HeadPull(
            set_n=float(pull["set_N"]),
            peak_n=float(pull["peak_N"]),
            at_3s_n=pull.get("at_3s_N"),
            speed=pull.get("speed"),
        )
        for pull in pulls
        if pull.get("peak_N") is not None
    ]
    try:
        return analyse_head(made, u_cell_pct=u_cell_pct) if made else None
    except CalibrationError:
        return None  # a dial in the wrong unit: said when it was pulled, useless later


def head_checks(store: "Store", *, bench: str) -> list[HeadCheck]:
    """Every head check of a bench, oldest first."""
    u_pct = {
        stored.recording_id: stored.body.get("u_span_error_pct")
        for stored in store.answers("check")
    }
    pulls: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    started: dict[int, datetime] = {}
    for stored in store.answers("head"):
        if stored.bench == bench:
            pulls[stored.recording_id].append(stored.body)
            started[stored.recording_id] = stored.started
    made = [
        (number, started[number], head_of(some, u_cell_pct=u_pct.get(number) or 0.0))
        for number, some in pulls.items()
    ]
    return [HeadCheck(n, at, result) for n, at, result in made if result is not None]


def recent_head(
    store: "Store", *, bench: str, at: datetime, days: float = RECENT_DAYS
) -> HeadResult | None:
    """The head as its checks of the last days together show it, or None without any.

    A daily pull at one setting cannot tell offset from gain; a week of them with the
    weekly three can.
    """
    recent = [
        check
        for check in head_checks(store, bench=bench)
        if timedelta(0) <= at - check.started <= timedelta(days=days)
    ]
    if not recent:
        return None
    pulls = [pull for check in recent for pull in check.result.pulls]
    return analyse_head(pulls, u_cell_pct=recent[-1].result.u_cell_pct)


def latest_head(store: "Store", *, bench: str) -> HeadResult | None:
    """The latest head check of a bench, or None."""
    checks = head_checks(store, bench=bench)
    return max(checks, key=lambda check: check.started).result if checks else None
