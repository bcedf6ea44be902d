"""Which sittings are read with another calibration than their own: decided, and reversible.

A decision is a `recompute` note in a recording of decisions: it names sittings by bench
and start, and the calibration that they are to be read with, or none to go back to their
own. The latest decision about a sitting holds, wherever it stands in the order of files,
so that a rebuild gives what the live database holds.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.sources.header import calibration_of, parse_time
from tensionlog.sources.recording import RecordingReader

if TYPE_CHECKING:
    from tensionlog.store import Store

NOTE = "recompute"
DECISIONS = "decisions"
"""Key of the header that says of a recording that it holds decisions alone."""

Sitting = tuple[str, datetime]


class Recomputed:
    """Decisions from a database, and from recordings that are about to be read."""

    def __init__(
        self, store: "Store | None" = None, readers: Iterable[RecordingReader] = ()
    ) -> None:
        decided: list[Note] = []
        if store is not None:
            decided += [stored.note for stored in store.notes(NOTE)]
        for reader in readers:
            if reader.header.raw.get(DECISIONS):
                decided += [x for x in reader if isinstance(x, Note) and x.name == NOTE]
        self._by_sitting: dict[Sitting, Calibration | None] = {}
        for note in sorted(decided, key=lambda note: note.at_s):
            self._learn(note.body)

    def calibration_of(self, header: Header) -> Calibration | None:
        """What a sitting is to be read with in place of its own, or None."""
        return self._by_sitting.get((header.bench, header.started))

    def _learn(self, body: Mapping[str, Any]) -> None:
        stated = body.get("calibration")
        calibration = calibration_of(stated) if isinstance(stated, Mapping) else None
        if stated is not None and calibration is None:
            return  # not a calibration: the note is kept, and changes nothing
        for named in _sittings(body.get("recordings")):
            self._by_sitting[named] = calibration


def _sittings(stated: object) -> list[Sitting]:
    if not isinstance(stated, Sequence) or isinstance(stated, str):
        return []
    named = []
    for one in stated:
        if isinstance(one, Mapping) and isinstance(one.get("bench"), str):
            started = parse_time(str(one.get("started")))
            if started is not None:
                named.append((str(one["bench"]), started))
    return named
