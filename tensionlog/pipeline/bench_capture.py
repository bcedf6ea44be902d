"""A port that is listened to all day, and recordings that begin and end meanwhile.

The port stays open from one sitting to the next, since many boards start anew when it is
opened. While nothing is recorded, what comes is shown and forgotten. What is asked for
here is done by the reader's own thread, between two reads.
"""

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import Any, NamedTuple

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival
from tensionlog.pipeline.capture import Capture, Gone, PortLike, Started
from tensionlog.recorder import Recorder
from tensionlog.recorder.weave import iso_time


class Closed(NamedTuple):
    """A recording is finished and on the disk."""

    paths: tuple[Path, ...]


class Trouble(NamedTuple):
    """A recording could not be made, or not be made safe."""

    why: str


class BenchCapture(Capture):
    """One port, one sitting after another.

    Attributes:
        is_recording: Whether what comes is kept.
    """

    _ends_at_a_stranger = False  # the page waits for its own device

    def __init__(
        self,
        *,
        port: PortLike | None,
        reopen: Callable[[], PortLike],
        asks: bool = True,
        device: str | None = None,
        newcomers: Callable[[], Iterable[Callable[[], PortLike]]] = lambda: (),
        clock_s: Callable[[], float],
        utc_s: Callable[[], float],
    ) -> None:
        """Be ready; nothing is read before `run`.

        Args:
            port: Open, or None where it is not there yet.
            reopen: Opens it, or raises `LinkError`.
            asks: Whether the device understands `?`.
            device: Id of the only device to be listened to, see `Capture`.
            newcomers: What opens each port that was not there before, see `Capture`.
            clock_s: Seconds that never jump, for patience.
            utc_s: Host time of arrivals and notes.
        """
        super().__init__(
            port=port,
            reopen=reopen,
            make_recorder=_never,
            asks=asks,
            device=device,
            newcomers=newcomers,
            clock_s=clock_s,
            utc_s=utc_s,
        )
        self._orders: deque[Callable[[], None]] = deque()
        if port is None:
            self._told_quiet = True
            self.items.put(Gone("The device is not there yet."))

    @property
    def is_recording(self) -> bool:
        """Whether what comes is kept."""
        return self.recorder is not None

    def begin(
        self, make_recorder: Callable[[], Recorder], notes: Sequence[Mapping[str, Any]] = ()
    ) -> None:
        """Begin a recording with these notes; one under way is ended first."""
        stamped = [self._stamped(note) for note in notes]
        self._orders.append(lambda: self._begin(make_recorder, stamped))

    def note(self, body: Mapping[str, Any], *, ago_s: float = 0.0) -> None:
        """Have a note written into the recording under way; without one it is dropped."""
        stamped = self._stamped(body, ago_s=ago_s)
        self._orders.append(lambda: self._write_note(stamped))

    def end(self, notes: Sequence[Mapping[str, Any]] = ()) -> None:
        """End the recording under way, if there is one, with these notes."""
        stamped = [self._stamped(note) for note in notes]
        self._orders.append(lambda: self._end(stamped))

    def _stamped(self, body: Mapping[str, Any], *, ago_s: float = 0.0) -> dict[str, Any]:
        return {"at": iso_time(round((self._utc_s() - ago_s) * 1e6)), **body}

    def _write(self, data: bytes) -> None:
        while self._orders:
            self._orders.popleft()()
        if self.recorder is not None:
            self._put(self.recorder.received(data))
        elif data:
            self.items.put(Arrival(self._utc_s()))
            self.items.put(data)

    def _begin(
        self, make_recorder: Callable[[], Recorder], notes: Sequence[Mapping[str, Any]]
    ) -> None:
        self._end(())
        try:
            self.recorder = make_recorder()
        except RecordingError as error:
            self._tell(Trouble(str(error)))
            return
        self.items.put(Started(self.recorder.path))
        for note in notes:
            self._write_note(note)

    def _write_note(self, note: Mapping[str, Any]) -> None:
        if self.recorder is not None:
            self._put(self.recorder.note(note))

    def _end(self, notes: Sequence[Mapping[str, Any]]) -> None:
        recorder = self.recorder
        if recorder is None:
            return
        for note in notes:
            self._write_note(note)
        try:
            self._put(recorder.close())
        except RecordingError as error:
            self._tell(Trouble(str(error)))
        self.recorder = None
        self._tell(Closed(tuple(recorder.paths)))

    def _tell(self, news: Closed | Trouble) -> None:
        items: SimpleQueue[Any] = self.items  # wider here than a single sitting's
        items.put(news)

    def _finish(self) -> None:
        """The server stops: a sitting under way stays unfinished, and goes on next time."""
        if self._port is not None:
            self._port.close()
        self._write(b"")
        self._end(())


def _never() -> Recorder:
    raise AssertionError("a bench says when a recording begins")
