"""What people decide is written down first, as notes in a recording of their own.

The database is derived: a decision reaches it by the path that every recording takes, and
so a rebuild knows it as well.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionlog.pipeline.recomputed import DECISIONS
from tensionlog.recorder import Disk, Recorder

if TYPE_CHECKING:
    from tensionlog.store import Store


def record_decision(
    folder: Path,
    *,
    bench: str,
    notes: Iterable[Mapping[str, Any]],
    header: Mapping[str, Any] | None = None,
    disk: Disk | None = None,
) -> Path:
    """Write notes into a recording of their own, durable once this returns.

    Args:
        folder: Where recordings go.
        bench: Whose decision.
        notes: Bodies; `at` is added where one has none.
        header: What the recording says of the bench; None: that it holds decisions alone.
        disk: The machine, or what stands for it in a test.

    Raises:
        RecordingError: It cannot be written.
    """
    stated = header or {"bench": bench, "purpose": "free", DECISIONS: True}
    with Recorder(folder, stated, disk=disk, in_background=False) as recorder:
        for note in notes:
            recorder.note(note)
    return recorder.paths[-1]


def store_decision(store: "Store", path: Path) -> None:
    """Bring a decision into the database by the path of every recording.

    Raises:
        TensionlogError: It could not be stored; the decision is safe as a file.
    """
    from tensionlog.pipeline.replay import Replayed, replay_all

    for item in replay_all([path], store=store):
        if not isinstance(item, Replayed):
            raise item
