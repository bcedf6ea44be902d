"""Recordings to answers, and into the database: the path that live samples take."""

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from tensionlog.errors import TensionlogError
from tensionlog.model.recording import Calibration, Note
from tensionlog.pipeline.phi import Phi
from tensionlog.pipeline.recomputed import Recomputed
from tensionlog.pipeline.sitting import Sitting, Whole
from tensionlog.sources.joined import in_sittings
from tensionlog.sources.recording import RecordingReader, open_recording

if TYPE_CHECKING:
    from tensionlog.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """One recording, read.

    Attributes:
        path: Where it lies.
        parts: The same, and where it goes on if a failing disk tore it.
        whole: What is in it.
        warnings: One line for each thing that could not be read as meant.
    """

    path: Path
    parts: tuple[Path, ...]
    whole: Whole
    warnings: tuple[str, ...]


def replay(
    path: str | PathLike[str] | RecordingReader,
    *,
    phi_max: float | None = None,
    calibration: Calibration | None = None,
    keep_traces: bool = True,
    on_bytes: Callable[[int], object] | None = None,
) -> Whole:
    """Read one recording from its first byte to its last.

    Args:
        path: Where it lies, or the reader of it.
        phi_max: Upper limit of what passes round this bench's frames, where measured.
        calibration: To be read with in place of the recording's own.
        keep_traces: Whether the samples of each pull are wanted afterwards.
        on_bytes: Told how many bytes of the device were read, as they are.

    Raises:
        RecordingError: It is not a recording, or cannot be read.
        PlanError: A ticket in it contradicts itself.
    """
    reader = path if isinstance(path, RecordingReader) else open_recording(path)
    header = reader.header
    if calibration is not None:
        header = dataclasses.replace(header, calibration=calibration)
    sitting = Sitting(header, phi_max=phi_max, keep_traces=keep_traces)
    for item in reader.pieces():
        if isinstance(item, Note):
            sitting.note(item)
            continue
        sitting.feed_chunks(item)
        if on_bytes is not None:
            on_bytes(len(item.data))
    sitting.close()
    return sitting.whole()


def replay_all(
    paths: Sequence[Path],
    *,
    store: "Store | None" = None,
    on_bytes: Callable[[int], object] | None = None,
) -> Iterator[Replayed | TensionlogError]:
    """Read recordings in the order of their times, each answered before the next is read.

    Args:
        paths: Where they lie.
        store: Where to keep what is found, one transaction a recording; None keeps no
            trace and so little memory.
        on_bytes: As in `replay`.

    Yields:
        What was read, or the error that stands for a bad file; the bad ones that cannot
        even be opened come first.
    """
    readers, errors = sittings_of(paths)
    yield from errors
    phi, recomputed = Phi(store), Recomputed(store, readers)
    for reader in readers:
        try:
            yield _replayed(
                reader, phi=phi, recomputed=recomputed, store=store, on_bytes=on_bytes
            )
        except TensionlogError as error:
            yield error
    if store is not None:
        from tensionlog.pipeline.watch import keep_watch

        keep_watch(store)


def _replayed(
    reader: RecordingReader,
    *,
    phi: Phi,
    recomputed: Recomputed,
    store: "Store | None",
    on_bytes: Callable[[int], object] | None,
) -> Replayed:
    whole = replay(
        reader,
        phi_max=phi.in_force(reader.header.bench, reader.header.started),
        calibration=recomputed.calibration_of(reader.header),
        keep_traces=store is not None,
        on_bytes=on_bytes,
    )
    phi.learn(whole)
    if store is not None:  # what keeps and watches is loaded only where it is asked for
        from tensionlog.pipeline.keeping import keep, sitting_name

        keep(store, whole, name=sitting_name(reader.path), digest=reader.digest())
    return Replayed(
        path=reader.path,
        parts=tuple(reader.paths),
        whole=whole,
        warnings=(*_about_parts(reader), *reader.warnings, *whole.warnings),
    )


def _about_parts(reader: RecordingReader) -> list[str]:
    names = [path.name for path in reader.paths]
    said = []
    if reader.header.continues is not None:
        said.append(
            f"it goes on from {reader.header.continues}, which was not named: what was "
            "noted there, such as the ticket, is not known. Name both."
        )
    if len(names) > 1:
        said.append(f"the disk failed: it goes on in {', '.join(names[1:])}, read as one.")
    return said


def sittings_of(paths: Sequence[Path]) -> tuple[list[RecordingReader], list[TensionlogError]]:
    """Open recordings; join those that a failing disk tore; sort them by their start.

    Returns:
        A reader for each sitting, and the errors that stand for files which are none.
    """
    opened: list[RecordingReader] = []
    errors: list[TensionlogError] = []
    for path in paths:
        try:
            opened.append(open_recording(path))
        except TensionlogError as error:
            errors.append(error)
    readers = sorted(in_sittings(opened), key=lambda r: (r.started_s, r.path.name))
    return readers, errors
