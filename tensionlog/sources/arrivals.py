"""The `@ ` lines of a piece of a recording, taken out all at one go.

Most recordings have one for every few samples, and all in the recorder's own form: these
are read in columns. This module needs numpy, which takes long to load: it is imported
where it is used.
"""

from collections.abc import Callable
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.recording import Chunks

_Bytes = NDArray[np.uint8]

_OWN_LINE = b"\n@ 0000-00-00T00:00:00.000000Z\n"
_OWN = np.frombuffer(_OWN_LINE, np.uint8)
_IS_DIGIT = np.equal(_OWN, ord("0"))
_MINUTE = slice(_OWN_LINE.index(b"0"), _OWN_LINE.index(b".") - 2)
_US_AT = np.array([20, 21, 23, 24, 25, 26, 27, 28])
_US = 10 ** np.arange(7, -1, -1)
_LF, _AT, _SPACE, _ZERO = b"\n@ 0"


def chunks_of(lines: bytes, time_s: Callable[[bytes], float | None]) -> Chunks:
    """Take the arrivals out of whole lines, among which there are no notes.

    Args:
        lines: As they stand in the file.
        time_s: UTC seconds of an ISO time, or None where it is none.
    """
    text = b"\n" + lines
    begin, end, at_s = _arrivals(text, time_s)
    if not begin:
        return Chunks(lines, [], [])
    pieces = [text[1 : begin[0]]]
    pieces += [text[a:b] for a, b in zip(end, [*begin[1:], len(text)], strict=True)]
    return Chunks(b"".join(pieces), list(accumulate(map(len, pieces[:-1]))), at_s)


def _arrivals(
    text: bytes, time_s: Callable[[bytes], float | None]
) -> tuple[list[int], list[int], list[float]]:
    """Where each arrival's line begins and ends, and its time; `text` begins with an LF."""
    raw = np.frombuffer(text, np.uint8)
    at = np.flatnonzero(raw == _AT)
    at = at[(raw[at - 1] == _LF) & (raw[at + 1] == _SPACE)]
    own_s = _own_times_s(raw, at, time_s)
    if own_s is not None:
        return at.tolist(), (at + len(_OWN_LINE) - 1).tolist(), own_s
    begin, end, at_s = [], [], []
    for start in at.tolist():
        stop = text.index(b"\n", start) + 1
        told_s = time_s(text[start + 2 : stop - 1])
        if told_s is not None:
            begin.append(start)
            end.append(stop)
            at_s.append(told_s)
    return begin, end, at_s


def _own_times_s(
    raw: _Bytes, at: NDArray[np.intp], time_s: Callable[[bytes], float | None]
) -> list[float] | None:
    """Times of the arrivals at `at`, or None if not all are sound and in our own form."""
    if not len(at) or at[-1] - 1 + len(_OWN) > len(raw):
        return None
    lines = raw[(at - 1)[:, None] + np.arange(len(_OWN))]
    values = lines - np.uint8(_ZERO)
    if not np.where(_IS_DIGIT, values <= 9, lines == _OWN).all():
        return None
    into_us = values[:, _US_AT].astype(np.int64) @ _US
    minute_us = _minutes_us(lines[:, _MINUTE], time_s)
    if minute_us is None or into_us.max() >= 60_000_000:
        return None
    times_s: list[float] = ((minute_us + into_us) / 1e6).tolist()
    return times_s


def _minutes_us(
    minutes: _Bytes, time_s: Callable[[bytes], float | None]
) -> NDArray[np.int64] | None:
    """Begin of each minute (shape (n, 17), as written) in microseconds since 1970."""
    is_new = np.ones(len(minutes), np.bool_)
    is_new[1:] = (minutes[1:] != minutes[:-1]).any(axis=1)
    begins_us = []
    for minute in minutes[is_new]:
        begin_s = time_s(minute.tobytes() + b"00.000000Z")
        if begin_s is None:
            return None
        begins_us.append(round(begin_s) * 1_000_000)
    return np.array(begins_us, np.int64).take(np.cumsum(is_new) - 1)
