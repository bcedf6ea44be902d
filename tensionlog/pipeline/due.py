"""What is due this morning: the weekly part, and which clamp's turn it is."""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tensionlog.store import Store


def full_is_due(store: "Store", *, bench: str, at: datetime, every_days: int) -> bool:
    """Whether the weekly check is due.

    Args:
        store: The database.
        bench: Whose.
        at: Now.
        every_days: From one weekly check to the next.
    """
    weekly = [
        stored.started
        for stored in store.answers("check")
        if stored.bench == bench
        and stored.body.get("part") == "weekly"
        and not stored.body.get("incomplete")
    ]
    # half a day: a check at ten is due again at nine seven days later
    return not weekly or at - max(weekly) > timedelta(days=every_days - 0.5)


def next_clamp(store: "Store", *, bench: str, clamps: tuple[str, ...]) -> str:
    """The clamp whose hold test is longest ago; of those never tested the first."""
    last = {
        str(stored.body.get("clamp")): stored.started
        for stored in store.answers("hold")
        if stored.bench == bench
    }
    never = [clamp for clamp in clamps if clamp not in last]
    return never[0] if never else min(clamps, key=lambda clamp: last[clamp])
