"""A sitting while it is recorded: what the port gave, read as a replay will read it.

The items that are followed here are those that the recorder wrote, in the file's order,
so a live sitting and its replay cannot differ but in the pulls still to come.
"""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from queue import Empty
from typing import NamedTuple

from tensionlog.model.recording import Arrival, Note
from tensionlog.model.sitting import Found
from tensionlog.pipeline.capture import Capture, Item, LinkEvent, Started
from tensionlog.pipeline.sitting import Sitting, Whole
from tensionlog.pipeline.trouble import Trouble, Troubles
from tensionlog.sources.recording import open_recording

SOUND_WITHIN_S = 2.5
"""Bytes that make no sound line for so long are garbage: another baud rate, most likely."""


class Garbage(NamedTuple):
    """Bytes come, and none of them make a sound sample line."""

    bytes_read: int


class PullFound(NamedTuple):
    """A pull is over; `again` if it was told before and has since changed its place."""

    found: Found
    again: bool


class NoteTaken(NamedTuple):
    """A note is in the recording."""

    note: Note


Told = LinkEvent | Garbage | PullFound | NoteTaken | Trouble
"""What a live sitting has to tell."""


class Live:
    """Follow a capture. Use it in a `with` statement: it runs the reader.

    Attributes:
        capture: The reader's side.
        first_arrival_s: Host time (UTC, s) of the first bytes, or None before them.
    """

    def __init__(
        self,
        capture: Capture,
        *,
        phi_max: float | None = None,
        clock_s: Callable[[], float] = time.monotonic,
        on_sitting: Callable[[Sitting], object] | None = None,
        in_step: bool = False,
    ) -> None:
        """Begin to read.

        Args:
            capture: Not running yet.
            phi_max: Upper limit of what passes round this bench's frames, where measured.
            clock_s: Seconds that never jump.
            on_sitting: Told of the sitting as it begins, so that somebody can listen.
            in_step: Read once a `poll`, in the caller's own thread: for a bench made of
                numbers, whose time passes only as it is read.
        """
        self.capture = capture
        self.first_arrival_s: float | None = None
        self._sitting: Sitting | None = None
        self._troubles = Troubles()
        self._phi_max, self._clock_s = phi_max, clock_s
        self._bytes = 0
        self._first_s: float | None = None
        self._told_garbage = False
        self._seen = 0
        self._rests_until_s = 0.0
        self._told: dict[int, tuple[object, ...]] = {}
        self._on_sitting, self._in_step = on_sitting, in_step
        self._threads = ThreadPoolExecutor(1, thread_name_prefix="capture")
        self._reader: Future[None] | None = None
        if not in_step:
            self._reader = self._threads.submit(capture.run)

    def __enter__(self) -> "Live":
        return self

    def __exit__(self, *_: object) -> None:
        self.capture.stop()
        self._threads.shutdown()

    @property
    def is_running(self) -> bool:
        """Whether the reader still reads."""
        return self._reader is None or not self._reader.done()

    @property
    def samples(self) -> int:
        """Valid samples so far."""
        return 0 if self._sitting is None else self._sitting.ledger.samples

    def poll(self, timeout_s: float) -> list[Told]:
        """Wait for news, at most so long; then take all there is.

        A verdict is worked out only once nothing waits, and never takes more than half
        of the time: of many pulls at once only the last one costs.
        """
        told: list[Told] = []
        if self._in_step:
            self.capture.step()
            timeout_s = 0.0
        for item in self._waiting(timeout_s):
            told += self._take(item)
        if self._sitting is not None:
            told += self._garbage()
            told += self._trouble(self._sitting)
            told += self._new_pulls(self._sitting)
        return told

    def finish(self) -> tuple[list[Told], Whole | None]:
        """Stop reading, make all durable, and give what was still to tell.

        Returns:
            The last news, and the sitting as a whole; None if nothing ever came.

        Raises:
            RecordingError: The recording could not be made, or not be made durable.
        """
        self.capture.stop()
        if self._reader is None:
            self.capture.run()  # told to stop, it only makes all durable
        else:
            self._reader.result()
        told: list[Told] = []
        for item in self._waiting(0.0):
            told += self._take(item)
        if self._sitting is None:
            return told, None
        self._sitting.close()
        whole = self._sitting.whole()
        return [*told, *self._news(whole)], whole

    def _waiting(self, timeout_s: float) -> Iterator[Item]:
        items = self.capture.items
        try:
            yield items.get(timeout=timeout_s) if timeout_s else items.get_nowait()
            while True:
                yield items.get_nowait()
        except Empty:
            return

    def _take(self, item: Item) -> list[Told]:
        if isinstance(item, Started):
            header = open_recording(item.path).header
            self._sitting = Sitting(header, phi_max=self._phi_max)
            if self._on_sitting is not None:
                self._on_sitting(self._sitting)
            return [item]
        sitting = self._sitting
        if sitting is not None and isinstance(item, bytes):
            self._bytes += len(item)
            sitting.feed(item)
        elif sitting is not None and isinstance(item, Arrival):
            if self.first_arrival_s is None:
                self.first_arrival_s, self._first_s = item.at_s, self._clock_s()
            sitting.arrived(item.at_s)
        elif sitting is not None and isinstance(item, Note):
            sitting.note(item)
            return [NoteTaken(item)]
        else:
            return [item] if isinstance(item, LinkEvent) else []
        return []

    def _garbage(self) -> list[Told]:
        if self._told_garbage or self._first_s is None or self.samples:
            return []
        if self._clock_s() - self._first_s < SOUND_WITHIN_S:
            return []
        self._told_garbage = True
        return [Garbage(self._bytes)]

    def _trouble(self, sitting: Sitting) -> list[Trouble]:
        recorder = self.capture.recorder
        disk = [] if recorder is None else self._troubles.of_disk(recorder.state())
        return disk + self._troubles.of_rate(
            samples=self.samples,
            rate_hz=sitting.timeline_rate_hz,
            stated_hz=sitting.header.rate_hz,
        )

    def _new_pulls(self, sitting: Sitting) -> list[Told]:
        seen, began_s = sitting.changes, self._clock_s()
        if seen == self._seen or began_s < self._rests_until_s:
            return []
        if not self.capture.items.empty():
            return []
        self._seen = seen
        news = self._news(sitting.whole(tests=False))
        now_s = self._clock_s()
        self._rests_until_s = now_s + (now_s - began_s)
        return news

    def _news(self, whole: Whole) -> list[Told]:
        news: list[Told] = []
        for found in whole.found:
            place = _place(found)
            if self._told.get(found.number) != place:
                news.append(PullFound(found, again=found.number in self._told))
                self._told[found.number] = place
        return news


def _place(found: Found) -> tuple[object, ...]:
    """What of a pull is told again when it changes; numbers settle and are not."""
    pull = found.pull
    has_reading = pull.release is not None
    return (pull.kind, pull.position, pull.held_position, pull.void, has_reading)
