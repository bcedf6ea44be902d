"""The latest part of the stream, as it was written: what a disk loses is written again.

Bytes that are durable stay here as well, as long as there is room. A file can be deleted
while it is written to, and then everything in it is gone, however often it was synced.
"""

from collections import deque

from tensionlog.recorder.weave import Piece

_MARK_EVERY_S = 0.02  # how exactly the age of a byte is known


class Ring:
    """The latest pieces of the stream, by their offset in it.

    Attributes:
        begin: Offset of the first byte still kept.
        end: Offset behind the last byte given.
    """

    def __init__(self, *, capacity_bytes: int) -> None:
        self.begin = self.end = 0
        self._capacity_bytes = capacity_bytes
        self._bytes = bytearray()
        self._arrival = b""  # the arrival line in force at `begin`
        self._marks: deque[tuple[int, float]] = deque()  # offset, when it was given

    def add(self, piece: Piece, *, now_s: float) -> None:
        """Keep `piece`; the oldest bytes give way if there is no room."""
        if not self._marks or now_s - self._marks[-1][1] >= _MARK_EVERY_S:
            self._marks.append((self.end, now_s))
        self._bytes += piece.raw
        self.end += len(piece.raw)
        too_many = len(self._bytes) - max(self._capacity_bytes, len(piece.raw))
        if too_many > 0:
            self._drop(too_many)

    def since(self, offset: int) -> tuple[int, bytes]:
        """Whole lines from the one that `offset` stands in to the end.

        The arrival line in force is repeated in front of them.

        Returns:
            The offset they begin at, later than `offset` where the ring was too small,
            and the bytes to be written.
        """
        start = self._bytes.rfind(b"\n", 0, max(0, offset - self.begin)) + 1
        if start == 0 < self.begin:  # the first line kept may have lost its beginning
            start = self._bytes.find(b"\n") + 1 or len(self._bytes)
        rest = bytes(self._bytes[start:])
        arrival = self._arrival_before(start)
        needs_none = not rest or rest.startswith(b"@ ")
        return self.begin + start, rest if needs_none else arrival + rest

    def oldest_after(self, offset: int) -> float | None:
        """When the oldest byte from `offset` on was given, or None if there is none."""
        if offset >= self.end:
            return None
        before = (at_s for begin, at_s in reversed(self._marks) if begin <= offset)
        return next(before, self._marks[0][1])

    def _drop(self, number: int) -> None:
        self._arrival = self._arrival_before(number)
        del self._bytes[:number]
        self.begin += number
        while len(self._marks) > 1 and self._marks[1][0] <= self.begin:
            self._marks.popleft()

    def _arrival_before(self, at: int) -> bytes:
        """The latest whole arrival line that begins before `at`."""
        found = self._bytes.rfind(b"\n@ ", 0, max(0, at + 2))
        if found < 0:
            return bytes(self._first_line(at))
        return bytes(self._bytes[found + 1 : self._bytes.index(b"\n", found + 1) + 1])

    def _first_line(self, at: int) -> bytes | bytearray:
        begins = at > 0 and self.begin == 0 and self._bytes.startswith(b"@ ")
        return self._bytes[: self._bytes.index(b"\n") + 1] if begins else self._arrival
