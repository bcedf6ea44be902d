"""Where host lines may stand between the device's bytes.

A host line stands only after an LF. One that is due in mid-line waits for the LF, at most
1 s or 96 bytes; then `~` and LF close the torn piece, which no reader takes for a line.
An arrival time is due only while bytes follow that it tells about; of several that wait
the latest one holds.
"""

import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from tensionlog.model.recording import Arrival, Note

WAITS_BYTES = 96
WAITS_S = 1.0

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
TEAR = b"~\n"


class Piece(NamedTuple):
    """What is appended, and what a reader will make of it.

    Attributes:
        raw: The bytes of the file.
        item: An arrival, a note, or the device's bytes as they are.
    """

    raw: bytes
    item: Arrival | Note | bytes


def iso_time(at_us: int) -> str:
    """UTC time as recordings write it.

    >>> iso_time(1_772_442_000_250_000)
    '2026-03-02T09:00:00.250000Z'
    """
    time = _EPOCH + timedelta(microseconds=at_us)
    return time.isoformat(timespec="microseconds").replace("+00:00", "Z")


class Weaver:
    """Weave host lines into the device's bytes; it writes nothing itself."""

    def __init__(self) -> None:
        self._mid_line = False
        self._notes: list[Piece] = []
        self._due_since_s = 0.0
        self._waited_bytes = 0

    def received(self, data: bytes, *, at_us: int, now_s: float) -> list[Piece]:
        """Place bytes that were read at host time `at_us`.

        Args:
            data: What came; nothing if the device was quiet.
            at_us: UTC, microseconds since 1970.
            now_s: A clock that never jumps.
        """
        pieces: list[Piece] = []
        if data and self._mid_line:
            end_of_line, data = self._end_of_line(data)
            pieces += end_of_line
        if data:
            arrival = Piece(b"@ %s\n" % iso_time(at_us).encode(), Arrival(at_us / 1e6))
            pieces += [*self._due_notes(), arrival, self._device(data)]
        return pieces + self.tick(now_s=now_s)

    def note(self, body: Mapping[str, Any], *, at_us: int, now_s: float) -> list[Piece]:
        """Place an operator's note, now or when the line is whole.

        Args:
            body: The note; `at` is added where it has none.
            at_us: UTC, microseconds since 1970.
            now_s: A clock that never jumps.

        Raises:
            ValueError: It has no name, its time is none, or JSON cannot say it.
        """
        if not self._notes:
            self._due_since_s = now_s
        self._notes.append(_note_piece({"at": iso_time(at_us), **body}))
        return self.tick(now_s=now_s)

    def tick(self, *, now_s: float) -> list[Piece]:
        """Give out the notes that may stand now, or that have waited long enough."""
        waited = now_s - self._due_since_s >= WAITS_S or self._waited_bytes >= WAITS_BYTES
        if self._mid_line and self._notes and waited:
            return [*self._tear(), *self._due_notes()]
        return [] if self._mid_line else self._due_notes()

    def finish(self) -> list[Piece]:
        """Give out the notes that still wait, because the recording ends."""
        if self._mid_line and self._notes:
            return [*self._tear(), *self._due_notes()]
        return self._due_notes()

    def _end_of_line(self, data: bytes) -> tuple[list[Piece], bytes]:
        """Close the line begun before, and say what is left of `data`.

        A line has at most 96 bytes, one of which at least is there already: with CR and
        LF the end of a sound one is always among the next 97.
        """
        room = max(0, WAITS_BYTES - self._waited_bytes)
        end = data.find(b"\n", 0, room + 1) + 1
        if end:
            return [self._device(data[:end])], data[end:]
        if len(data) <= room:
            self._waited_bytes += len(data)
            return [self._device(data)], b""
        piece = [self._device(data[:room])] if room else []
        return piece + self._tear(), data[room:]

    def _device(self, data: bytes) -> Piece:
        self._mid_line = not data.endswith(b"\n")
        if not self._mid_line:
            self._waited_bytes = 0
        return Piece(data, data)

    def _tear(self) -> list[Piece]:
        return [self._device(TEAR)]

    def _due_notes(self) -> list[Piece]:
        notes, self._notes = self._notes, []
        return notes


def _note_piece(body: Mapping[str, Any]) -> Piece:
    text = json.dumps(body, allow_nan=False)
    if not isinstance(body.get("note"), str):
        raise ValueError(f"a note needs its name under 'note', not {body.get('note')!r}")
    at = datetime.fromisoformat(body["at"])
    at_s = (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp()
    return Piece(b"! %s\n" % text.encode(), Note(at_s, body["note"], json.loads(text)))
