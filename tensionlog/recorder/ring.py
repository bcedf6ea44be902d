"""What was given to the recorder lately and may have to be written once more."""

from collections import deque
from typing import NamedTuple

from tensionlog.model.recording import Arrival
from tensionlog.recorder.weave import Piece


class _Held(NamedTuple):
    piece: Piece
    end: int  # offset behind it
    line_at: int  # offset of the latest line that begins at or before its end
    arrival: bytes  # the arrival line in force as it begins
    since_s: float


class Ring:
    """The latest pieces of the stream, by their offset in it.

    Attributes:
        end: Offset behind the last byte given.
    """

    def __init__(self, *, capacity_bytes: int) -> None:
        self.end = 0
        self._capacity_bytes = capacity_bytes
        self._held: deque[_Held] = deque()
        self._bytes = 0
        self._line_at = 0
        self._arrival = b""

    def add(self, piece: Piece, *, now_s: float) -> None:
        """Keep `piece`; the oldest give way if there is no room."""
        begin, self.end = self.end, self.end + len(piece.raw)
        line_ends = piece.raw.rfind(b"\n") + 1
        if line_ends:
            self._line_at = begin + line_ends
        self._held.append(_Held(piece, self.end, self._line_at, self._arrival, now_s))
        self._bytes += len(piece.raw)
        if isinstance(piece.item, Arrival):
            self._arrival = piece.raw
        while self._bytes > self._capacity_bytes and len(self._held) > 1:
            self._drop_oldest()

    def forget_before(self, offset: int) -> None:
        """Drop what is durable up to `offset`, but for the line that it stands in."""
        line_at = max((held.line_at for held in self._held if held.end <= offset), default=0)
        while self._held and self._held[0].end <= line_at:
            self._drop_oldest()

    def since(self, offset: int) -> tuple[int, bytes]:
        """Whole lines from the one that `offset` stands in to the end.

        The arrival line in force is repeated in front of them.

        Returns:
            The offset they begin at, later than `offset` where the ring was too small,
            and the bytes to be written.
        """
        if not self._held:
            return self.end, b""
        begin = self._held[0].end - len(self._held[0].piece.raw)
        stream = b"".join(held.piece.raw for held in self._held)
        start = stream.rfind(b"\n", 0, max(0, offset - begin)) + 1
        arrival = next((h.arrival for h in self._held if h.end > begin + start), b"")
        rest = stream[start:]
        return begin + start, rest if rest.startswith(b"@ ") else arrival + rest

    def oldest_after(self, offset: int) -> float | None:
        """When the oldest byte from `offset` on was given, or None if there is none."""
        return next((held.since_s for held in self._held if held.end > offset), None)

    def _drop_oldest(self) -> None:
        self._bytes -= len(self._held.popleft().piece.raw)
