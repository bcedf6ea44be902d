"""Recordings to answers, and into the database: the path that live samples take."""

from collections.abc import Sequence
from os import PathLike
from pathlib import Path

from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline.sitting import Sitting, Whole
from tensionlog.sources.recording import RecordingReader, open_recording


def replay(
    path: str | PathLike[str] | RecordingReader,
    *,
    phi_max: float | None = None,
    keep_traces: bool = True,
) -> Whole:
    """Read one recording from its first byte to its last.

    Raises:
        RecordingError: It is not a recording, or cannot be read.
        PlanError: A ticket in it contradicts itself.
    """
    reader = path if isinstance(path, RecordingReader) else open_recording(path)
    sitting = Sitting(reader.header, phi_max=phi_max, keep_traces=keep_traces)
    for item in reader:
        if isinstance(item, bytes):
            sitting.feed(item)
        elif isinstance(item, Arrival):
            sitting.arrived(item.at_s)
        elif isinstance(item, Note):
            sitting.note(item)
    sitting.close()
    return sitting.whole()


def in_time_order(paths: Sequence[Path]) -> list[RecordingReader]:
    """Open recordings and sort them by when they were started."""
    return sorted(map(open_recording, paths), key=lambda reader: reader.started_s)
