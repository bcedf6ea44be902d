"""Another sketch's plain lines, read by the user's own regular expression.

They carry no checksum and no conversion number, so a damaged line that still matches is
taken for a reading, and a lost one leaves no trace. The product says so wherever it
reports on them.
"""

import math
import re

from tensionlog.errors import RecordingError
from tensionlog.model.lines import BadLine, DeviceLine, PlainReading
from tensionlog.wire.splitter import LineSplitter

MAX_PLAIN_BYTES = 256
"""Longest plain line; nobody pinned one, but a flood must not fill memory."""


class PlainDecoder:
    r"""Turn a stream of plain lines into readings; the same shape as `LineDecoder`.

    The expression is matched at the beginning of a line, spaces and a CR around the line
    left out. Group `value` is the number; `t_ms` and `unit` may be there too.

    >>> decoder = PlainDecoder(r"load: (?P<value>-?\d+(\.\d+)?) (?P<unit>\w+)")
    >>> decoder.feed(b"load: 12.5 kg\r\nready\n")
    [PlainReading(value=12.5, unit='kg', t_ms=None), BadLine(raw=b'ready', why='form')]
    """

    def __init__(self, pattern: str) -> None:
        """Compile `pattern`.

        Raises:
            RecordingError: It does not compile, or has no group `value`.
        """
        self._pattern = _compiled(pattern)
        self._lines = LineSplitter(kept=MAX_PLAIN_BYTES + 2)

    @property
    def pending(self) -> bytes:
        """The line that has no LF yet, at most its beginning."""
        return self._lines.pending

    @property
    def pending_bytes(self) -> int:
        """Length of the line that has no LF yet."""
        return self._lines.pending_bytes

    @property
    def bytes_fed(self) -> int:
        """Bytes that came in."""
        return self._lines.bytes_fed

    @property
    def bytes_in_lines(self) -> int:
        """Bytes of the lines given out, LFs too."""
        return self._lines.bytes_in_lines

    def feed(self, data: bytes) -> list[DeviceLine]:
        """Add `data` and return every line that it completes, oldest first."""
        block = self._lines.whole_lines(data)
        return [self._line(raw) for raw in block.split(b"\n")[:-1]]

    def close(self) -> list[DeviceLine]:
        """Say that the stream has ended; a torn last line stays in `pending`.

        Without a checksum nobody can tell whether the last digits are missing, so a last
        line without LF never counts.
        """
        return []

    def _line(self, raw: bytes) -> DeviceLine:
        if len(raw.removesuffix(b"\r")) > MAX_PLAIN_BYTES:
            return BadLine(raw[: MAX_PLAIN_BYTES + 2], "too-long")
        found = self._pattern.match(raw.decode("utf-8", "replace").strip())
        reading = _reading(found.groupdict()) if found else None
        return reading or BadLine(raw, "form")


def _compiled(pattern: str) -> re.Pattern[str]:
    try:
        compiled = re.compile(pattern)
    except (re.error, OverflowError, RecursionError) as error:
        raise RecordingError(
            f"the pattern {pattern!r} is not a regular expression: {error}. "
            "Correct it where the dialect is set."
        ) from error
    if "value" not in compiled.groupindex:
        raise RecordingError(
            f"the pattern {pattern!r} has no group named 'value'. "
            "Write (?P<value>…) around the number."
        )
    return compiled


def _reading(groups: dict[str, str | None]) -> PlainReading | None:
    value = _number(groups["value"])
    if value is None:
        return None
    stamp = groups.get("t_ms")
    t_ms = _number(stamp)
    if stamp is not None and t_ms is None:
        return None
    return PlainReading(value, groups.get("unit") or None, t_ms)


def _number(text: str | None) -> float | None:
    try:
        number = float(text or "")
    except ValueError:
        return None
    return number if math.isfinite(number) else None
