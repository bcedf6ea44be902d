"""The slow look at a sitting: all its pulls read together, in a thread of its own."""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline.sitting import Looked, Sitting, Whole


class Slow:
    """The sitting as a whole, in a thread of its own; what it is told is done in order."""

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="reader")
        self._sitting: Sitting | None = None
        self._look: Future[Whole] | None = None
        self._again = False
        self._pending: list[object] = []

    @property
    def looked(self) -> Looked | None:
        """What the latest look has taught."""
        return None if self._sitting is None else self._sitting.looked

    def begin(self, sitting: Sitting) -> None:
        """Begin another sitting."""
        self._sitting, self._look, self._again, self._pending = sitting, None, False, []

    def put(self, item: object) -> None:
        """Have an item of the recording fed before the next look."""
        if self._sitting is not None:
            self._pending.append(item)

    def look(self) -> None:
        """Have the sitting read as a whole, after the look under way if there is one."""
        if self._sitting is None:
            return
        if self._look is not None:
            self._again = True
            return
        items, self._pending = self._pending, []
        self._look = self._worker.submit(_fed_and_read, self._sitting, items, False)

    def collect(self) -> Whole | None:
        """What a look gave since the last call, or None."""
        look = self._look
        if look is None or not look.done():
            return None
        self._look = None
        if self._again:
            self._again = False
            self.look()
        return look.result()

    def finish(self) -> Whole | None:
        """Everything there was, the recording being closed; waits for it."""
        sitting, items = self._sitting, self._pending
        self.forget()
        if sitting is None:
            return None
        return self._worker.submit(_fed_and_read, sitting, items, True).result()

    def forget(self) -> None:
        """Nothing is recorded now."""
        self._sitting, self._look, self._again, self._pending = None, None, False, []

    def close(self) -> None:
        """Let the thread end."""
        self._worker.shutdown(wait=True, cancel_futures=True)


def _fed_and_read(sitting: Sitting, items: Sequence[object], ends: bool) -> Whole:
    for item in items:
        if isinstance(item, bytes):
            sitting.feed(item)
        elif isinstance(item, Arrival):
            sitting.arrived(item.at_s)
        elif isinstance(item, Note):
            sitting.note(item)
    if ends:
        sitting.close()
    return sitting.whole()
