"""The product's proof of itself: recordings keep the law, the database holds nothing else.

A recording is checked line by line by `audit`. The database is checked against a fresh
reading of the same bytes, which must give all that is stored, number by number and
sample by sample; the stored samples are looked for among the recording's lines as well.
"""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from tensionlog.model.pull import Trace
from tensionlog.model.recording import Arrival
from tensionlog.pipeline.audit import Audit, Place, Proof, is_rising
from tensionlog.pipeline.keeping import keep
from tensionlog.pipeline.phi import Phi
from tensionlog.pipeline.recomputed import Recomputed
from tensionlog.pipeline.replay import replay
from tensionlog.sources.recording import RecordingReader

if TYPE_CHECKING:
    from tensionlog.store import Store, StoredRecording

ANSWER_KINDS = ("check", "hold", "head", "turn", "stiffness", "calibration")


def verify_recording(
    reader: RecordingReader,
    *,
    store: "Store | None" = None,
    on_bytes: Callable[[int], object] | None = None,
) -> Proof:
    """Check the law on one recording, and on what a database holds of its samples.

    Args:
        reader: The recording.
        store: The database; a sitting that it does not have counts as empty.
        on_bytes: Told how many bytes of the device were read, as they are.

    Raises:
        RecordingError: It cannot be read.
    """
    audit = Audit(reader.header, stored=_stored_samples(reader, store))
    for item in reader:
        if isinstance(item, Arrival):
            audit.arrived(item.at_s)
        elif isinstance(item, bytes):
            audit.feed(item)
            if on_bytes is not None:
                on_bytes(len(item))
    return audit.close()


def verify_stored(reader: RecordingReader, store: "Store") -> list[str]:
    """What the database says otherwise than the recording, a line each.

    Raises:
        TensionlogError: The recording cannot be read, or the database is damaged.
    """
    from tensionlog.store import Store

    stored = stored_sitting(reader, store)
    if stored is None:
        return ["the database does not have it: store it with 'tensionlog replay --db'"]
    digest = reader.digest()
    if stored.digest != digest:
        return ["the database was made from other bytes than the file holds now"]
    with Store.memory() as fresh:
        header = reader.header
        whole = replay(
            reader,
            phi_max=Phi(store).in_force(header.bench, header.started),
            calibration=Recomputed(store).calibration_of(header),
        )
        keep(fresh, whole, name=stored.name, digest=digest)
        return list(_differences(store, fresh, stored.recording_id))


def stored_sitting(reader: RecordingReader, store: "Store") -> "StoredRecording | None":
    """What the database has of the sitting, or None; bench and start tell sittings apart."""
    return next(
        (
            stored
            for stored in store.recordings()
            if stored.header.bench == reader.header.bench
            and stored.header.started == reader.header.started
        ),
        None,
    )


def _stored_samples(reader: RecordingReader, store: "Store | None") -> dict[Place, float]:
    stored = None if store is None else stored_sitting(reader, store)
    if store is None or stored is None:
        return {}
    samples: dict[Place, float] = {}
    for pull in store.pulls_in(stored.recording_id):
        trace = store.trace_of(pull)
        for t_s, counts in zip(trace.t_s.tolist(), trace.counts.tolist(), strict=True):
            samples[trace.boot, t_s] = counts
    return samples


def _differences(store: "Store", fresh: "Store", recording_id: int) -> Iterator[str]:
    for what, read in _CONTENTS.items():
        if read(store, recording_id) != read(fresh, recording_id):
            yield f"its {what} in the database are not what the recording gives"
    pairs = zip(store.pulls_in(recording_id), fresh.pulls_in(recording_id), strict=False)
    for ours, theirs in pairs:
        kept = store.trace_of(ours)
        if not is_rising(kept.t_s.tolist()):
            yield f"the samples of pull {ours.number} do not follow one another in time"
        if not _same(kept, fresh.trace_of(theirs)):
            yield f"the samples of pull {ours.number} are not those of the recording"


def _same(a: Trace, b: Trace) -> bool:
    return (a.boot, a.t_s.tolist(), a.counts.tolist()) == (
        b.boot,
        b.t_s.tolist(),
        b.counts.tolist(),
    )


def _recording(store: "Store", recording_id: int) -> object:
    return [r for r in store.recordings() if r.recording_id == recording_id]


def _jobs(store: "Store", recording_id: int) -> object:
    return [job for job in store.jobs() if job.recording_id == recording_id]


def _pulls(store: "Store", recording_id: int) -> object:
    return store.pulls_in(recording_id)


def _notes(store: "Store", recording_id: int) -> object:
    return [note for note in store.notes() if note.recording_id == recording_id]


def _answers(store: "Store", recording_id: int) -> object:
    return [
        (kind, a)
        for kind in ANSWER_KINDS
        for a in store.answers(kind)
        if a.recording_id == recording_id
    ]


_CONTENTS: dict[str, Callable[["Store", int], object]] = {
    "header and losses": _recording,
    "jobs": _jobs,
    "pulls": _pulls,
    "notes": _notes,
    "answers": _answers,
}
