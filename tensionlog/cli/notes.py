"""What a person decides: a recording of notes alone, then the database by the usual way."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionlog.cli.say import warn

if TYPE_CHECKING:
    from tensionlog.settings import BenchSettings
    from tensionlog.store import Store


def keep_notes(
    bodies: Sequence[Mapping[str, Any]], settings: "BenchSettings", *, folder: Path, db: Path
) -> Path:
    """Write notes into a recording of their own, and store it like any other.

    Args:
        bodies: Notes; each may carry its own `at`.
        settings: Whose bench.
        folder: Where its recordings go.
        db: Its database.

    Raises:
        TensionlogError: It cannot be written or stored.
    """
    from tensionlog.pipeline.decisions import record_decision, store_decision
    from tensionlog.store import Store

    header = settings.header(purpose="free")
    path = record_decision(folder, bench=settings.bench, notes=bodies, header=header)
    db.parent.mkdir(parents=True, exist_ok=True)
    with Store(db) as store:
        warn_of_clock(store, settings.bench)
        store_decision(store, path)
    return path


def warn_of_clock(store: "Store", bench: str) -> None:
    """Say so where this computer's clock stands before the latest sitting of the bench."""
    latest, now = store.history.latest(bench), datetime.now(UTC)
    if latest is not None and now < latest:
        warn(
            f"this computer's clock says {now:%Y-%m-%d %H:%M} UTC, before the latest sitting "
            f"of {bench} ({latest:%Y-%m-%d %H:%M}). Set the clock: what is recorded now "
            "counts as older than that."
        )
