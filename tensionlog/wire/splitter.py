"""Cut a stream of bytes into whole lines, in bounded memory."""


class LineSplitter:
    r"""Collect bytes until an LF ends a line.

    Law: `bytes_in_lines + pending_bytes == bytes_fed`, always.

    Attributes:
        pending: The beginning of the line that has no LF yet, at most `kept` bytes of it.
        pending_bytes: Length of that line so far, the bytes not kept too.
        bytes_fed: Bytes that came in.
        bytes_in_lines: Bytes of the lines given out, LFs and bytes not kept too.
    """

    __slots__ = ("_kept", "bytes_fed", "bytes_in_lines", "pending", "pending_bytes")

    def __init__(self, *, kept: int) -> None:
        self._kept = kept
        self.pending = b""
        self.pending_bytes = 0
        self.bytes_fed = 0
        self.bytes_in_lines = 0

    def whole_lines(self, data: bytes) -> bytes:
        """Add `data` and return the lines that it completes, each with its LF."""
        self.bytes_fed += len(data)
        end = data.rfind(b"\n") + 1
        if not end:
            self._hold(data)
            return b""
        block = self.pending + data[:end]
        self.bytes_in_lines += self.pending_bytes + end
        self.pending = b""
        self.pending_bytes = 0
        if end < len(data):
            self._hold(data[end:])
        return block

    def take_rest(self) -> bytes:
        """Take the line without LF out, as one that ended with the stream."""
        rest, self.pending = self.pending, b""
        self.bytes_in_lines += self.pending_bytes
        self.pending_bytes = 0
        return rest

    def _hold(self, piece: bytes) -> None:
        self.pending_bytes += len(piece)
        self.pending = (self.pending + piece[: self._kept])[: self._kept]
