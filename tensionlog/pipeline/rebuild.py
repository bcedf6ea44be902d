"""The database from the recordings again, whole; the old one stays until the new is good."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tensionlog.errors import DamagedStoreError, RecordingError, StoreError, TensionlogError
from tensionlog.model.recording import Header
from tensionlog.pipeline.replay import Replayed, replay_all
from tensionlog.pipeline.watch import keep_watch
from tensionlog.sources.recording import RecordingReader, open_recording

if TYPE_CHECKING:
    from tensionlog.store import Store

SUFFIXES = (".rec", ".rec.gz")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebuilt:
    """What came of a rebuild.

    Attributes:
        sittings: Sittings in the new database.
        pulls: Pulls in it.
        was_identical: Whether the old database held exactly the same; it then stayed.
        old: Where the old database lies now, or None where there was none to keep.
        errors: What could not be read; the rest was rebuilt all the same.
    """

    sittings: int
    pulls: int
    was_identical: bool
    old: Path | None
    errors: tuple[TensionlogError, ...]


def recordings_in(places: Sequence[Path]) -> list[Path]:
    """Recordings in folders, whatever their depth, and files named by themselves.

    Raises:
        RecordingError: A folder is not there, or none of them holds a recording.
    """
    found: list[Path] = []
    for place in places:
        if place.is_dir():
            found += sorted(p for p in place.rglob("*.rec*") if p.name.endswith(SUFFIXES))
        elif place.exists():
            found.append(place)
        else:
            raise RecordingError(f"there is no folder {place}. Check the name.")
    if not found:
        raise RecordingError(
            f"no recording (*.rec, *.rec.gz) lies in {', '.join(map(str, places))}. "
            "Nothing was changed."
        )
    return found


def rebuild(
    db: Path,
    paths: Sequence[Path],
    *,
    at: datetime,
    on_bytes: Callable[[int], object] | None = None,
) -> Rebuilt:
    """Build the database at `db` anew from recordings.

    Args:
        db: Where it lies, or is to lie.
        paths: The recordings.
        at: Now; it names the old database where that is set aside.
        on_bytes: Told how many bytes of the devices were read, as they are.

    Raises:
        StoreError: The new database is not good, or lacks a sitting that the old one
            has: the old one stays in its place.
    """
    from tensionlog.store import Store, set_aside

    new = db.with_name(f"{db.name}.rebuilding")
    _remove(new)
    chosen, errors = _one_of_each(paths)
    files = [reader.path for reader in chosen]
    with Store(new) as store:
        for item in replay_all(files, store=store, on_bytes=on_bytes):
            if not isinstance(item, Replayed):
                errors.append(item)
    with Store(new, must_exist=True) as store:
        _refuse_damaged(store, new)
        sittings = _names(store)
        pulls = sum(len(store.pulls_in(r.recording_id)) for r in store.recordings())
        digest = store.dump_sha256()
    old_digest = _old_digest(db, sittings | _continuing(chosen))
    old = None
    if old_digest == digest:
        _remove(new)
    else:
        old = set_aside(db, suffix=f".before-{at:%Y%m%dT%H%M%SZ}") if db.exists() else None
        new.rename(db)
    return Rebuilt(
        sittings=len(sittings),
        pulls=pulls,
        was_identical=old_digest == digest,
        old=old,
        errors=tuple(errors),
    )


def _one_of_each(
    paths: Sequence[Path],
) -> tuple[list[RecordingReader], list[TensionlogError]]:
    """One file of each sitting: a recording often lies beside its compressed copy."""
    chosen: dict[tuple[str, datetime], RecordingReader] = {}
    errors: list[TensionlogError] = []
    for path in paths:
        try:
            reader = open_recording(path)
            other = chosen.setdefault((reader.header.bench, reader.header.started), reader)
            if other is not reader and other.digest() != reader.digest():
                raise RecordingError(
                    f"{path} is the same sitting as {other.path} with other bytes and was "
                    "left out. Remove one of them and rebuild."
                )
        except TensionlogError as error:
            errors.append(error)
    return list(chosen.values()), errors


def _old_digest(db: Path, sittings: set[str]) -> str | None:
    """Digest of the old database's content; None where it is none that can be read.

    Raises:
        StoreError: It is not ours, or holds a sitting that is not among `sittings`.
    """
    from tensionlog.store import Store

    if not db.exists():
        return None
    try:
        with Store(db) as store:
            if store.quick_check():
                return None
            lost = sorted(_names(store) - sittings)
            keep_watch(store)
            digest = store.dump_sha256()
    except DamagedStoreError:
        return None  # that is what a rebuild is for
    if lost:
        raise StoreError(
            f"no recording gives {len(lost)} of the sittings in {db}, such as {lost[0]}. "
            "It was left as it is: name the folder of that recording as well."
        )
    return digest


def _refuse_damaged(store: "Store", path: Path) -> None:
    if found := store.quick_check():
        raise StoreError(f"the new database {path} is damaged: {found[0]}. Check the disk.")


def _names(store: "Store") -> set[str]:
    return {_name(stored.header) for stored in store.recordings()}


def _continuing(readers: Sequence[RecordingReader]) -> set[str]:
    """Pieces of torn sittings: an old database may have each as a sitting of its own."""
    return {_name(r.header) for r in readers if r.header.continues is not None}


def _name(header: Header) -> str:
    return f"{header.bench} {header.started.isoformat()}"


def _remove(path: Path) -> None:
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
