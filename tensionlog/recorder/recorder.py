"""Append a sitting to a recording before anything interprets it.

`received` and `note` write and return what a reader will find, so that a live sitting is
followed from the same items as a replayed one. Making bytes durable is another thread's
work: a slow disk delays nobody. The first error is final for a file, because after a
failed sync the system may have dropped what it could not write, and call the next good.
The recorder then goes on in a new file, from the last line known to be safe, out of
memory; of a file deleted under it, with all that memory still has.
"""

import errno
import threading
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival, Note
from tensionlog.recorder.disk import Disk
from tensionlog.recorder.folder_lock import FolderLock
from tensionlog.recorder.ring import Ring
from tensionlog.recorder.segment import Segment, create_segment, reopen_segment
from tensionlog.recorder.state import RecorderState
from tensionlog.recorder.weave import Piece, Weaver, iso_time

SYNC_EVERY_S = 0.25
TRY_AGAIN_S = 1.0
ANSWERS_WITHIN_S = 0.2  # a call that takes longer is told as one that may not come back

_LAST_TRIES = 5
RING_BYTES = 16 << 20  # 40 minutes at 80/s, every sample with an arrival time of its own
Item = Arrival | Note | bytes  # what a reader of the recording gives out


class Recorder:
    """One sitting on its way to the disk.

    Attributes:
        paths: The files of this sitting, the first one first.
    """

    def __init__(
        self,
        folder: Path,
        header: Mapping[str, Any],
        *,
        disk: Disk | None = None,
        in_background: bool = True,
        ring_bytes: int = RING_BYTES,
        goes_on: Path | None = None,
    ) -> None:
        """Make the file and write its header, or go on in one whose writer was killed.

        Args:
            folder: Where recordings go; made if it is not there.
            header: `bench`, `purpose` and whatever else belongs there; `started` is
                added where it has none.
            disk: The machine, or what stands for it in a test.
            in_background: Whether a thread of its own makes bytes durable; if not,
                `sync` must be called.
            ring_bytes: How much is kept in memory while no disk takes it.
            goes_on: An unfinished recording with this `header`, appended to.

        Raises:
            RecordingError: The file cannot be made, or not be opened again.
        """
        self._disk = disk or Disk()
        self._now_s = self._disk.monotonic_s
        self._folder = folder
        self._bench = str(header.get("bench", ""))
        self._weaver = Weaver()
        self._ring = Ring(capacity_bytes=ring_bytes)
        self._lock = threading.RLock()
        self._safe = self._written = self._lost = 0
        self._retired: list[int] = []
        self._trouble: str | None = None
        self._try_at_s = 0.0
        self._entered_s = self._now_s()
        self._folder_lock: FolderLock | None = None
        self._is_sitting, self._syncing = in_background, False
        self._header = {"started": iso_time(self._utc_us()), **header}
        self._started_us = self._utc_us()
        self.paths: list[Path] = []
        self._segment = self._first_segment(goes_on)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._keep_syncing, daemon=True)
        if in_background:
            self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def path(self) -> Path:
        """The file being written, or the one that failed last."""
        return self._segment.path

    def received(self, data: bytes) -> list[Item]:
        """Append what a port gave, and its time; call it with b"" when it was quiet.

        Returns:
            What a reader will find of it, in file order.
        """
        with self._lock:
            self._entered_s = self._now_s()
            return self._append(
                self._weaver.received(data, at_us=self._utc_us(), now_s=self._now_s())
            )

    def note(self, body: Mapping[str, Any]) -> list[Item]:
        """Append an operator's note; in mid-line it waits, and a later call returns it."""
        with self._lock:
            self._entered_s = self._now_s()
            return self._append(
                self._weaver.note(body, at_us=self._utc_us(), now_s=self._now_s())
            )

    def state(self) -> RecorderState:
        """How safe the sitting is right now; never waits for a disk that hangs."""
        answers = self._lock.acquire(timeout=ANSWERS_WITHIN_S)
        try:
            since_s = self._ring.oldest_after(self._safe) if answers else self._entered_s
            return RecorderState(
                path=self._segment.path,
                is_writing=answers and self._segment.is_open,
                unsafe_bytes=self._ring.end - self._safe,
                unsafe_s=0.0 if since_s is None else self._now_s() - since_s,
                lost_bytes=self._lost,
                trouble=self._trouble if answers else "the disk does not answer",
            )
        finally:
            if answers:
                self._lock.release()

    def sync(self) -> None:
        """Make durable what was written; after an error, try to go on in a new file."""
        with self._lock:
            segment, upto = self._segment, self._written
            if not segment.is_open:
                self._go_on()
            if not segment.is_open or upto == self._safe:
                return
            self._syncing = True
        try:
            self._disk.sync(segment.fd)
        except OSError as error:
            with self._lock:
                if segment.is_open:
                    self._give_up(error)
                    self._go_on()
        else:
            with self._lock:
                if segment.is_open:
                    self._is_safe(upto)
                    self._look_for_it(segment)
        finally:
            with self._lock:
                self._syncing = False
                self._close_retired()

    def close(self) -> list[Item]:
        """Append what still waits, make all durable, and let go of the file.

        Raises:
            RecordingError: No disk took the last bytes.
        """
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        with self._lock:
            items = self._append(self._weaver.finish())
            for _ in range(_LAST_TRIES):
                self._try_at_s = 0.0
                self.sync()
            unsafe = self._ring.end - self._safe
            if self._segment.is_open:
                self._retire(self._segment)
            self._unlock()
        if unsafe:
            raise RecordingError(
                f"{unsafe} bytes of {self.paths[0].name} could not be made safe: "
                f"{self._trouble}. Free the disk, and look at what was recorded."
            )
        return items

    def _keep_syncing(self) -> None:
        while not self._stop.wait(SYNC_EVERY_S):
            self.sync()

    def _append(self, pieces: list[Piece]) -> list[Item]:
        for piece in pieces:
            self._ring.add(piece, now_s=self._now_s())
        if self._segment.is_open:
            self._write(b"".join(piece.raw for piece in pieces))
        if not self._segment.is_open:
            self._go_on()
        return [piece.item for piece in pieces]

    def _write(self, rest: bytes) -> None:
        try:
            while rest:
                taken = self._disk.take(self._segment.fd, rest)
                self._written += taken
                rest = rest[taken:]
        except OSError as error:
            with suppress(OSError):  # what went before may still be made safe
                self._disk.sync(self._segment.fd)
                self._is_safe(self._written)
            self._give_up(error)

    def _is_safe(self, upto: int) -> None:
        self._safe = upto

    def _look_for_it(self, segment: Segment) -> None:
        """A file deleted under us takes every write and keeps none of them."""
        if self._disk.is_deleted(segment.fd):
            self._safe = min(self._safe, segment.began_at)
            self._give_up(FileNotFoundError(errno.ENOENT, "the file was deleted"))
            self._go_on()

    def _give_up(self, error: OSError) -> None:
        """The first error is final for a file; what it holds beyond is not relied upon."""
        self._trouble = f"{error.strerror or error} ({self._segment.path.name})"
        self._try_at_s = 0.0
        self._retire(self._segment)

    def _go_on(self) -> None:
        """Begin a new file with all that is not known to be safe, if it is time to."""
        if self._now_s() < self._try_at_s:
            return
        failed = self._segment
        start, lines = self._ring.since(self._safe)
        header = {
            **self._header,
            "started": self._next_start(),
            "continues": failed.path.name,
            "continues_at": failed.lead_bytes + start - failed.began_at,
        }
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            self._segment = self._create(header, lines, began_at=start)
        except OSError as error:
            self._trouble = f"{error.strerror or error} ({self._folder})"
            self._try_at_s = self._now_s() + TRY_AGAIN_S
            return
        self._lost += max(0, start - self._safe)
        self._written = self._ring.end
        self._is_safe(self._written)

    def _first_segment(self, goes_on: Path | None) -> Segment:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if self._is_sitting:  # notes written at once may stand beside it
                self._folder_lock = FolderLock(self._folder, self._bench)
            if goes_on is not None:
                self.paths.append(goes_on)
                return reopen_segment(self._disk, goes_on)
            return self._create(self._header, b"", began_at=0)
        except RecordingError:
            raise
        except OSError as error:
            self._unlock()
            raise RecordingError(
                f"cannot record into {self._folder}: {error.strerror or error}. "
                "Name another folder, or make room."
            ) from error

    def _unlock(self) -> None:
        if self._folder_lock is not None:
            self._folder_lock.release()

    def _create(self, header: Mapping[str, Any], lines: bytes, *, began_at: int) -> Segment:
        segment = create_segment(self._disk, self._folder, header, lines, began_at=began_at)
        segment.lead_bytes -= self._ring.end - began_at
        self.paths.append(segment.path)
        return segment

    def _next_start(self) -> str:
        """A start of its own: bench and start tell recordings apart."""
        self._started_us = max(self._utc_us(), self._started_us + 1)
        return iso_time(self._started_us)

    def _retire(self, segment: Segment) -> None:
        segment.is_open = False
        self._retired.append(segment.fd)
        if not self._syncing:
            self._close_retired()

    def _close_retired(self) -> None:
        """Close files given up, but never one that the other thread is syncing."""
        while self._retired:
            with suppress(OSError):
                self._disk.close(self._retired.pop())

    def _utc_us(self) -> int:
        return round(self._disk.utc_s() * 1e6)
