"""Read a recording: what the host wrote apart from what the device sent.

A line is the host's only if it is `@ ` with an ISO time, `! ` with a JSON object, or one
of the leading `# ` lines. Everything else came from the device and is passed on byte for
byte, damaged or not, in blocks, so that memory stays flat.
"""

import json
import re
from collections.abc import Iterator, Mapping
from hashlib import sha256
from os import PathLike
from pathlib import Path
from typing import Any

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival, Chunks, Header, Note
from tensionlog.sources.blocks import read_blocks
from tensionlog.sources.header import parse_header, parse_time

LONGEST_HOST_LINE = 1 << 20
"""A line without LF that is longer than this is the device's flood, not a note."""

Item = Arrival | Note | bytes

_MAYBE_NOTE = re.compile(rb"^! [^\n]*\n", re.MULTILINE)


class RecordingReader:
    """One recording; iterate it as often as needed for its items in file order.

    Attributes:
        path: Where it lies.
        header: What it says of itself.
        warnings: One line for each thing that could not be read as meant; grows while
            the recording is iterated.
    """

    def __init__(self, path: Path, header: Header, *, body_at: int) -> None:
        self.path = path
        self.header = header
        self.warnings: list[str] = []
        self._body_at = body_at

    @property
    def paths(self) -> list[Path]:
        """Where its parts lie: one, unless a failing disk tore it."""
        return [self.path]

    @property
    def started_s(self) -> float:
        """Host time at which it was opened (UTC, seconds since 1970)."""
        return self.header.started.timestamp()

    def digest(self) -> str:
        """SHA-256 of its uncompressed bytes in hex, header included.

        Raises:
            RecordingError: The file cannot be read.
        """
        found = sha256()
        for block in read_blocks(self.path, []):
            found.update(block)
        return found.hexdigest()

    def __iter__(self) -> Iterator[Item]:
        """Yield arrivals, notes and device bytes in file order."""
        for item in self.pieces():
            if isinstance(item, Chunks):
                yield from item.apart()
            else:
                yield item

    def pieces(self) -> Iterator[Chunks | Note]:
        """Yield the same in big pieces, cut at the notes."""
        self.warnings.clear()
        lines = _HostLines(self.path.name, self.warnings)
        carry, begins_line = b"", True
        for block in self._body():
            block = carry + block
            end = block.rfind(b"\n") + 1
            carry = block[end:]
            if end:
                yield from lines.split(block[:end], begins_line)
                begins_line = True
            if len(carry) > LONGEST_HOST_LINE:
                yield Chunks(carry, [], [])
                carry, begins_line = b"", False
        if carry:
            yield from lines.last(carry, begins_line)

    def body(self, *, upto: int | None) -> Iterator[bytes]:
        """What stands behind the header, as it is, up to a place in the unpacked file."""
        self.warnings.clear()
        at = 0
        for block in read_blocks(self.path, self.warnings):
            end = None if upto is None else max(0, upto - at)
            yield block[max(0, self._body_at - at) : end]
            at += len(block)
            if upto is not None and at >= upto:
                return

    def _body(self) -> Iterator[bytes]:
        return self.body(upto=None)


def open_recording(path: str | PathLike[str]) -> RecordingReader:
    """Open the recording at `path`, a `.rec` or a `.rec.gz`, and read its header.

    Raises:
        RecordingError: There is no such file, it is no recording, or its header says
            nothing allowed.
    """
    path = Path(path)
    lines, beginning, body_at = _leading_lines(path)
    return RecordingReader(path, parse_header(path.name, lines, beginning), body_at=body_at)


def _leading_lines(path: Path) -> tuple[list[bytes], bytes, int]:
    """The leading `# ` lines, the first bytes, and where the body begins."""
    held = b""
    for block in read_blocks(path, []):
        held += block
        if _body_begins(held) is not None or len(held) > LONGEST_HOST_LINE:
            break
    if not held:
        raise RecordingError(f"{path} is empty: nothing was recorded in it.")
    body_at = _body_begins(held)
    body_at = len(held) if body_at is None else body_at
    return held[:body_at].splitlines(), held[:64], body_at


def _body_begins(held: bytes) -> int | None:
    """Where the first line begins that is not `# `, or None if that is not known yet."""
    at = 0
    while held.startswith(b"# ", at):
        end = held.find(b"\n", at)
        if end < 0:
            return None
        at = end + 1
    return at if len(held) - at >= len(b"# ") else None


class _HostLines:
    """Tell the host's lines from the device's."""

    def __init__(self, name: str, warnings: list[str]) -> None:
        self._name = name
        self._warnings = warnings

    def split(self, block: bytes, begins_line: bool) -> Iterator[Chunks | Note]:
        """Take whole lines apart; `begins_line` tells whether the first one is whole."""
        done = 0
        for found in _MAYBE_NOTE.finditer(block) if b"! " in block else ():
            body = _json_object(found[0][2:])
            if body is None or (found.start() == 0 and not begins_line):
                continue
            if done < found.start():
                yield self._chunks(block[done : found.start()], begins_line or done > 0)
            yield from self._note(body)
            done = found.end()
        if done < len(block):
            yield self._chunks(block[done:], begins_line or done > 0)

    def _chunks(self, lines: bytes, begins_line: bool) -> Chunks:
        from tensionlog.sources.arrivals import chunks_of

        rest_of_line = 0 if begins_line else lines.index(b"\n") + 1
        chunks = chunks_of(lines[rest_of_line:], _time_s)
        if not rest_of_line:
            return chunks
        begins = [begin + rest_of_line for begin in chunks.begins]
        return Chunks(lines[:rest_of_line] + chunks.data, begins, chunks.at_s)

    def last(self, line: bytes, begins_line: bool) -> Iterator[Chunks | Note]:
        """The last line where it has no LF: the host's if it is whole, else a torn tail."""
        at_s = _time_s(line[2:]) if line.startswith(b"@ ") else None
        body = _json_object(line[2:]) if line.startswith(b"! ") else None
        if begins_line and at_s is not None:
            yield Chunks(b"", [0], [at_s])
        elif begins_line and body is not None:
            yield from self._note(body)
        else:
            yield Chunks(line, [], [])

    def _note(self, body: Mapping[str, Any]) -> Iterator[Note]:
        name, stated = body.get("note"), body.get("at")
        if not isinstance(name, str):
            return
        at = parse_time(stated) if isinstance(stated, str) else None
        if at is None:
            self._warnings.append(f"{self._name}: the note {name!r} has no time: left out.")
        else:
            yield Note(at.timestamp(), name, body)


def _time_s(text: bytes) -> float | None:
    """UTC seconds of an ISO time, or None where it is none."""
    time = parse_time(text.decode("ascii", "replace"))
    return None if time is None else time.timestamp()


def _json_object(text: bytes) -> Mapping[str, Any] | None:
    try:
        found = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None
