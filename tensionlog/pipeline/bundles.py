"""Backups and exchange between benches: what goes into a bundle and what comes out of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tensionlog.errors import RecordingError, TensionlogError
from tensionlog.recorder.bundle import Packed, put_file, write_bundle
from tensionlog.sources.bundle import (
    DATABASE,
    FORMAT,
    RECORDINGS,
    SETTINGS,
    VERSION,
    BundleReader,
    Member,
    begins_with,
)
from tensionlog.sources.recording import open_recording


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpacked:
    """What came of a bundle.

    Attributes:
        new: Recordings that were not there before.
        same: How many were there already, with the same bytes or more of them.
        errors: What could not be taken; the rest was.
    """

    new: tuple[Path, ...]
    same: int
    errors: tuple[TensionlogError, ...]


def pack(
    target: Path,
    recordings: Sequence[Path],
    *,
    made: str,
    database: Path | None = None,
    settings: Path | None = None,
) -> int:
    """Write recordings, a copy of the database and the set-up into one bundle; read it back.

    Args:
        target: The bundle.
        recordings: Files, each under its own name; two of one name get a number.
        made: Now, as ISO time.
        database: A copy of the database that nobody writes to, or None.
        settings: The set-up file, or None.

    Returns:
        How many recordings it holds.

    Raises:
        RecordingError: It cannot be written, or does not read back as it was packed.
    """
    files = [Packed(RECORDINGS + name, path) for name, path in _named(recordings)]
    files += [Packed(DATABASE, database)] if database is not None else []
    files += [Packed(SETTINGS, settings)] if settings is not None else []
    write_bundle(target, files, {"format": FORMAT, "version": VERSION, "made": made})
    with BundleReader(target) as written:
        written.check()
    return len(recordings)


def unpack(bundle: BundleReader, folder: Path) -> Unpacked:
    """Take the recordings out of a bundle into a folder; nothing there is overwritten.

    Every member is checked before the first one is written. A recording that is there
    already, under whatever name, is passed over; one of the same sitting with other bytes
    is an error.

    Raises:
        RecordingError: The bundle is damaged, or the folder takes no file.
    """
    bundle.check()
    folder.mkdir(parents=True, exist_ok=True)
    new: list[Path] = []
    errors: list[TensionlogError] = []
    same = 0
    for member in bundle.members:
        if not member.name.startswith(RECORDINGS):
            continue
        try:
            there = _take(bundle, member, folder)
        except TensionlogError as error:
            errors.append(error)
            continue
        same += there is None
        new += [] if there is None else [there]
    return Unpacked(new=tuple(new), same=same, errors=tuple(errors))


def member_named(bundle: BundleReader, name: str) -> Member | None:
    """The member of that name, or None."""
    return next((member for member in bundle.members if member.name == name), None)


def about(bundle: BundleReader) -> Mapping[str, Any]:
    """What a bundle says of itself."""
    return {key: value for key, value in bundle.about.items() if key != "files"}


def _named(recordings: Sequence[Path]) -> Iterator[tuple[str, Path]]:
    used: set[str] = set()
    for path in recordings:
        stem, end = path.name.split(".rec", 1)
        name, number = path.name, 1
        while name in used:
            number += 1
            name = f"{stem}-{number}.rec{end}"
        used.add(name)
        yield name, path


def _take(bundle: BundleReader, member: Member, folder: Path) -> Path | None:
    """Write one recording; None where it is there already."""
    path = folder / member.name.removeprefix(RECORDINGS)
    if path.exists():
        if begins_with(path, member):
            return None
        raise RecordingError(
            f"{path} is another recording than the bundle's of that name and stays. "
            "Name another folder for it."
        )
    put_file(path, bundle.blocks(member))
    try:
        open_recording(path)
    except TensionlogError:
        path.unlink()
        raise
    return path
