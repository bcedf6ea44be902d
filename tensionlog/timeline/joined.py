"""Readings that follow one another, in one piece however many lines were lost between."""

from collections.abc import Iterable, Iterator

import numpy as np

from tensionlog.timeline.events import Gap, Reading, Readings, TimelineEvent


def joined(events: Iterable[TimelineEvent]) -> Iterator[TimelineEvent]:
    """The same events, for those who ask only for readings: gaps are left out.

    Neighbouring readings of one boot come as one `Readings`, even where it is one alone.
    """
    pieces: list[Reading | Readings] = []
    for event in events:
        if isinstance(event, Gap):
            continue
        is_reading = isinstance(event, Reading | Readings)
        if pieces and not (is_reading and event[0] == pieces[0].boot):
            yield _one(pieces)
            pieces = []
        if isinstance(event, Reading | Readings):
            pieces.append(event)
        else:
            yield event
    if pieces:
        yield _one(pieces)


def _one(pieces: list[Reading | Readings]) -> Readings:
    if len(pieces) == 1 and isinstance(pieces[0], Readings):
        return pieces[0]
    return Readings(
        pieces[0].boot,
        np.concatenate([np.atleast_1d(piece.t_s) for piece in pieces]),
        np.concatenate([np.atleast_1d(piece.counts) for piece in pieces]),
    )
