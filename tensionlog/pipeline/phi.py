"""What passes round the frame, as the bench last measured it.

Job reports bound what a held string lost by it, so it must be the same in a live
sitting, a replay and a rebuild: the latest turn test of the bench before the sitting.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tensionlog.pipeline.sitting import Whole

if TYPE_CHECKING:
    from tensionlog.store import Store

COVERAGE = 2.0
"""Standard uncertainties added to the measured share, so that it is an upper limit."""


class Phi:
    """Turn tests by bench, from a database or from what was read so far."""

    def __init__(self, store: "Store | None" = None) -> None:
        self._measured: dict[str, list[tuple[datetime, float]]] = {}
        for stored in store.answers("turn") if store is not None else ():
            self._add(stored.bench, stored.started, stored.body)

    def in_force(self, bench: str, at: datetime) -> float | None:
        """Upper limit that holds for a sitting begun at `at`, or None: nobody measured it."""
        earlier = [m for m in self._measured.get(bench, ()) if m[0] < at]
        return max(earlier)[1] if earlier else None

    def learn(self, whole: Whole) -> None:
        """Take over the turn test of a sitting, if it has one."""
        if whole.tests.turn is not None:
            self._add(whole.header.bench, whole.header.started, whole.tests.turn)

    def _add(self, bench: str, started: datetime, turn: Mapping[str, Any]) -> None:
        limit = phi_max_of(turn)
        if limit is not None:
            self._measured.setdefault(bench, []).append((started, limit))


def phi_max_of(turn: Mapping[str, Any]) -> float | None:
    """Upper limit of what passes round the frame, from the answer to a turn test.

    >>> phi_max_of({"phi_rest": 0.55, "phi_tapped": 0.85, "u": 0.02})
    0.89
    """
    shares = [turn[key] for key in ("phi_rest", "phi_tapped") if turn.get(key) is not None]
    if not shares:
        return None
    return float(min(1.0, max(shares) + COVERAGE * (turn.get("u") or 0.0)))
