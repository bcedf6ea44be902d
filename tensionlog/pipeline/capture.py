"""From a port to a recording, before anything interprets what came.

The reader is a thread of its own that does nothing but read and append: while somebody
works out a verdict, the system's buffer fills (a terminal's holds some eight seconds at
80/s, then loses). It alone owns the port, since closing a port from another thread kills
the reader in mid-call, and it alone writes, so that items come out in the file's order.

* quiet   nothing came for a while: said, and the device is asked who it is
* gone    the port is lost, or silent for long: opened again for ever, under its own name
          or under a new one; the sitting goes on if it is the same device
* ended   the other side closed a network stream: the recording is finished
"""

import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from queue import SimpleQueue
from threading import Event
from typing import Any, NamedTuple, Protocol

from tensionlog.errors import LinkError
from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline.identity import TOLD_WITHIN_S, Introduction, Vetting
from tensionlog.pipeline.identity import Stranger as Stranger  # told like what is below
from tensionlog.recorder import Recorder
from tensionlog.recorder.weave import iso_time
from tensionlog.sources.serial_port import Ended

QUIET_S = 2.0
"""Silence after which it is said; at 10 samples a second twenty are due by then."""

FIRST_QUIET_S = 3.0
"""The same for a port just opened: boards whose reset hangs on DTR boot for two seconds."""

REOPEN_S = 6.0
"""Silence after which the port is opened anew: some drivers never notice a lost device."""

ASK_EVERY_S = 1.0
"""How often a silent device is asked who it is; a boot loader swallows the first times."""

TRY_FAST_S, TRY_EVERY_S, TRY_SLOWLY_S = 10.0, 0.05, 1.0

LOOK_ROUND_EVERY_S = 0.5
"""How often a lost device is looked for under other names; listing them takes a while."""

REFUSED_S = 1.0
"""A port at which a stranger answered is left alone for so long."""


class Started(NamedTuple):
    """The first bytes came, and a recording was made for them."""

    path: Path


class Quiet(NamedTuple):
    """Nothing has come for so many seconds, though the port is open."""

    for_s: float


class Heard(NamedTuple):
    """Something comes again after quiet, or after the port was gone."""

    after_s: float


class Gone(NamedTuple):
    """The port is lost; it is tried again for ever."""

    why: str


class StreamEnded(NamedTuple):
    """The other side closed the stream on purpose."""

    why: str


LinkEvent = Started | Quiet | Heard | Gone | StreamEnded | Stranger
Item = LinkEvent | Arrival | Note | bytes
"""What comes out, in the order of the file."""


class PortLike(Protocol):
    """What is asked of a port, see `tensionlog.sources.serial_port`."""

    def read(self) -> bytes:
        """Wait a tenth of a second at most; b"" is quiet."""

    def identify(self) -> bool:
        """Ask who is there."""

    def close(self) -> None:
        """Let go."""


class Capture:
    """One port, one sitting.

    Attributes:
        items: What was read and written, oldest first.
        recorder: Where it is written, or None before the first byte.
    """

    _ends_at_a_stranger = True

    def __init__(
        self,
        *,
        port: PortLike | None,
        reopen: Callable[[], PortLike],
        make_recorder: Callable[[], Recorder],
        asks: bool = True,
        device: str | None = None,
        newcomers: Callable[[], Iterable[Callable[[], PortLike]]] = lambda: (),
        clock_s: Callable[[], float] = time.monotonic,
        utc_s: Callable[[], float] = time.time,
    ) -> None:
        """Be ready; nothing is read before `run`.

        Args:
            port: Open, or None where it is not there yet; it is the capture's now.
            reopen: Opens it again.
            make_recorder: Called when the first bytes are there.
            asks: Whether the device understands `?`.
            device: Id of the only device to be listened to; None: whoever is there
                first, and then nobody else.
            newcomers: What opens each port that was not there before, to look for a
                lost device.
            clock_s: Seconds that never jump, for patience.
            utc_s: Host time of notes, the recorder's.
        """
        self.items: SimpleQueue[Item] = SimpleQueue()
        self.recorder: Recorder | None = None
        self._port: PortLike | None = port
        self._reopen, self._make_recorder = reopen, make_recorder
        self._asks = asks
        self._device, self._newcomers = device, newcomers
        self._introduction = Introduction()
        self._looked_s = self._refused_until_s = float("-inf")
        self._clock_s, self._utc_s = clock_s, utc_s
        self._stop = Event()
        self._notes: deque[Mapping[str, Any]] = deque()
        self._heard_s = self._opened_s = clock_s()
        self._asked_s = float("-inf")
        self._told_quiet = False
        self._vetting = self._vetted()

    def note(self, body: Mapping[str, Any], *, ago_s: float = 0.0) -> None:
        """Have a note written; it acts `ago_s` before this moment, unless it says another."""
        at_us = round((self._utc_s() - ago_s) * 1e6)
        self._notes.append({"at": iso_time(at_us), **body})

    def stop(self) -> None:
        """Have the reader stop; may be called from anywhere, a signal handler too."""
        self._stop.set()

    def run(self) -> None:
        """Read until told to stop or the stream ends, then make all of it durable.

        Raises:
            RecordingError: The recording cannot be made, or not be made durable.
        """
        try:
            while not self._stop.is_set():
                self.step()
        finally:
            self._finish()

    def step(self) -> None:
        """Read once, write what came and the notes that wait."""
        if self._port is None:
            self._try_again()
            self._write(b"")
            return
        try:
            data = self._port.read()
        except Ended as error:
            self.items.put(StreamEnded(str(error)))
            self._stop.set()
            return
        except LinkError as error:
            self._lose(str(error))
            return
        sound = self._from_the_device(data)
        if sound is not None:
            self._write(sound)
        if self._port is not None:
            self._watch(heard=bool(data if self.recorder is None else sound))

    def _vetted(self) -> Vetting | None:
        """What a port just opened must pass, where a device is known that can be asked."""
        if self._device is None or not self._asks:
            return None
        return Vetting(self._device, opened_s=self._clock_s())

    def _from_the_device(self, data: bytes) -> bytes | None:
        """What may be written of what came: nothing of it before it is known whose it is.

        Raises:
            LinkError: A stranger answered at the very first.
        """
        if self._vetting is None:
            self._device = self._device or self._introduction.heard(data)
            return data
        taken = self._vetting.taken(data, now_s=self._clock_s())
        if not isinstance(taken, Stranger):
            self._vetting = None if taken is not None else self._vetting
            return taken if taken is not None or self.recorder is None else b""
        self.items.put(taken)
        self._refused_until_s = self._clock_s() + REFUSED_S
        if self.recorder is None and self._ends_at_a_stranger:
            raise LinkError(
                f"device {taken.device!r} answered, this bench's is {taken.wanted!r}. "
                f"Plug that one in, or 'tensionlog bench set --device {taken.device}'."
            )
        self._lose(f"it is {taken.device!r}, not {taken.wanted!r}.")
        return b""

    def _write(self, data: bytes) -> None:
        if self.recorder is None:
            if not data:
                return
            self.recorder = self._make_recorder()
            self.items.put(Started(self.recorder.path))
        while self._notes:
            self._put(self.recorder.note(self._notes.popleft()))
        self._put(self.recorder.received(data))

    def _put(self, items: list[Arrival | Note | bytes]) -> None:
        for item in items:
            self.items.put(item)

    def _watch(self, *, heard: bool) -> None:
        now_s = self._clock_s()
        silent_s = now_s - self._heard_s
        if heard:
            if self._told_quiet:
                self.items.put(Heard(silent_s))
            self._heard_s, self._told_quiet = now_s, False
            if self._device is None and now_s - self._opened_s < TOLD_WITHIN_S:
                self._ask(now_s)  # its own greeting may have gone by as the port was opened
            return
        self._ask(now_s)
        if silent_s >= (QUIET_S if self.recorder else FIRST_QUIET_S) and not self._told_quiet:
            self._told_quiet = True
            self.items.put(Quiet(silent_s))
        if self.recorder is not None and now_s - max(self._heard_s, self._opened_s) >= REOPEN_S:
            self._lose(f"nothing came for {silent_s:.0f} s.")

    def _ask(self, now_s: float) -> None:
        if self._asks and self._port is not None and now_s - self._asked_s >= ASK_EVERY_S:
            self._asked_s = now_s
            try:
                self._port.identify()
            except LinkError as error:
                self._lose(str(error))

    def _lose(self, why: str) -> None:
        if self._port is not None:
            self._port.close()
        self._port = None
        self._told_quiet = True
        self._opened_s = self._clock_s()
        self.items.put(Gone(why))

    def _try_again(self) -> None:
        gone_s = self._clock_s() - self._opened_s
        self._stop.wait(TRY_EVERY_S if gone_s < TRY_FAST_S else TRY_SLOWLY_S)
        self._port = self._opened_again()
        if self._port is None:
            return
        self._opened_s = self._clock_s()
        self._asked_s = float("-inf")
        self._vetting = self._vetted()
        self._ask(self._opened_s)

    def _opened_again(self) -> PortLike | None:
        """The port by its own name, else by any that has come since; None: not there."""
        now_s = self._clock_s()
        ways: list[Callable[[], PortLike]] = []
        if now_s >= self._refused_until_s:
            ways.append(self._reopen)
        if self._device is not None and now_s - self._looked_s >= LOOK_ROUND_EVERY_S:
            self._looked_s = now_s
            ways += self._newcomers()
        for way in ways:
            with suppress(LinkError):
                return way()
        return None

    def _finish(self) -> None:
        if self._port is not None:
            self._port.close()
        if self.recorder is not None:
            self._write(b"")
            self._put(self.recorder.close())
