"""Recordings that the database does not have yet: found, and stored.

A recorder that was killed leaves its recording whole and the database without it. What
lies in a folder and what the database holds are told apart by bench and start, as all
sittings are, and by the bytes.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tensionlog.errors import TensionlogError
from tensionlog.pipeline.replay import replay_all, sittings_of

if TYPE_CHECKING:
    from tensionlog.store import Store


def not_stored(store: "Store", paths: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """Which of the recordings at `paths` the database lacks.

    Files that are no recordings are passed over: whoever reads them is told.

    Returns:
        Those that it lacks, and those that hold other bytes than it was made from.
    """
    stored = {(r.header.bench, r.header.started): r.digest for r in store.recordings()}
    lacking, grown = [], []
    readers, _ = sittings_of(paths)
    for reader in readers:
        key = (reader.header.bench, reader.header.started)
        if key not in stored:
            lacking += reader.paths
        elif stored[key] != reader.digest():
            grown += reader.paths
    return lacking, grown


def catch_up(store: "Store", paths: Sequence[Path]) -> tuple[int, list[TensionlogError]]:
    """Store what `not_stored` finds.

    Returns:
        How many sittings were stored, and what could not be.
    """
    lacking, grown = not_stored(store, paths)
    told = list(replay_all([*lacking, *grown], store=store))
    errors = [item for item in told if isinstance(item, TensionlogError)]
    return len(told) - len(errors), errors


def recordings_of(
    store: "Store", paths: Sequence[Path], *, refs: Sequence[str] = ()
) -> tuple[list[Path], list[str]]:
    """Which of the recordings at `paths` hold the database's jobs of these references.

    Args:
        store: The database.
        paths: Where recordings lie.
        refs: References of jobs; none: every sitting.

    Returns:
        The files, and the references (or names of sittings) of which none was found.
    """
    jobs = [job for ref in refs for job in store.jobs(ref=ref)]
    wanted_ids = {job.recording_id for job in jobs}
    lacking = [ref for ref in refs if not store.jobs(ref=ref)]
    readers, _ = sittings_of(paths)
    by_key = {(r.header.bench, r.header.started): r for r in reversed(readers)}
    found: list[Path] = []
    for stored in store.recordings():
        if refs and stored.recording_id not in wanted_ids:
            continue
        reader = by_key.get((stored.header.bench, stored.header.started))
        found += [] if reader is None else reader.paths
        lacking += [stored.name] if reader is None else []
    return found, lacking
