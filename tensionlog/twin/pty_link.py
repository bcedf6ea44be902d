"""The bench on a pseudo-terminal: a port that any serial program can open.

Like a real board it does not wait to be listened to once it runs: what is said while the
port is closed is lost. It does not begin before somebody opens the port, it starts anew
when it is opened (as boards do whose reset hangs on DTR) unless told not to, and after
the last line of its script it goes on measuring nothing, for ever. Two things to know:

* pyserial empties the input buffer as it opens, so the first lines may be missed;
* `speed` hastens the device's clock against the host's, in which 60 s of script take 1 s.
"""

import os
import select
import tempfile
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Protocol

from tensionlog.twin.script_feed import ScriptFeed

_TICK_S = 0.004
_JOIN_S = 2.0
_READ_BYTES = 4096


class Feed(Protocol):
    """What a device has to say; `ScriptFeed` says a recording again, `LiveFeed` is asked."""

    dropped_lines: int

    def power_up(self) -> None:
        """The cable was put back."""

    def opened(self, now_s: float) -> None:
        """Somebody opened the port."""

    def told(self, received: bytes) -> None:
        """The host sent something."""

    def due(self, now_s: float, *, waiting: int) -> bytes:
        """Everything to be said by now."""


class Link:
    """A served bench.

    Attributes:
        path: What to open.
        openings: How often the port was opened.
    """

    def __init__(self, feed: Feed, *, clock: Callable[[], float], path: Path) -> None:
        """Serve `feed` at `path`, paced by `clock` (seconds)."""
        self.path = str(path)
        self.openings = 0
        self._feed, self._clock, self._link = feed, clock, path
        self._lock, self._stop = Lock(), Event()
        self._master: int | None = None
        self._is_open = False
        self._unsent = b""
        self._thread = Thread(target=self._run, name="twin", daemon=True)

    @property
    def dropped_lines(self) -> int:
        """Lines that found the device's send buffer full."""
        return self._feed.dropped_lines

    def start(self) -> None:
        """Plug in and begin to wait for somebody to open the port."""
        self._plug()
        self._thread.start()

    def stop(self) -> None:
        """End the service; never waits long."""
        self._stop.set()
        self._thread.join(_JOIN_S)
        self.unplug()

    def unplug(self) -> None:
        """Pull the cable: whoever reads is hung up on, and the path is gone."""
        with self._lock:
            if self._master is not None:
                os.close(self._master)
                self._link.unlink(missing_ok=True)
            self._master, self._is_open, self._unsent = None, False, b""

    def replug(self, *, under: str | None = None) -> None:
        """Put the cable back: another terminal, another boot.

        Args:
            under: Name that the port gets in place of its old one, such as `ttyTWIN1`.
        """
        with self._lock:
            if self._master is None:
                if under is not None:
                    self._link = self._link.with_name(under)
                    self.path = str(self._link)
                self._feed.power_up()
                self._plug()

    def _plug(self) -> None:
        self._master, slave = os.openpty()
        tty.setraw(slave)  # before the host does, a terminal echoes and rewrites bytes
        os.set_blocking(self._master, False)
        fresh = self._link.with_suffix(".new")
        fresh.symlink_to(os.ttyname(slave))
        fresh.replace(self._link)
        os.close(slave)  # an open end of our own would hide that the host hung up

    def _run(self) -> None:
        while not self._stop.wait(_TICK_S):
            with self._lock:
                if self._master is not None:
                    self._serve(self._master)

    def _serve(self, master: int) -> None:
        poll = select.poll()
        poll.register(master, select.POLLIN)
        state = dict(poll.poll(0)).get(master, 0)
        if state & (select.POLLHUP | select.POLLERR):
            self._is_open, self._unsent = False, b""
            return
        now_s = self._clock()
        if not self._is_open:
            self._is_open = True
            self.openings += 1
            self._feed.opened(now_s)
        try:
            if state & select.POLLIN:
                self._feed.told(os.read(master, _READ_BYTES))
            self._unsent += self._feed.due(now_s, waiting=len(self._unsent))
            self._unsent = self._unsent[os.write(master, self._unsent) :]
        except BlockingIOError:
            return  # the kernel's buffer is full: the feed drops lines once ours is, too
        except OSError:
            self._is_open, self._unsent = False, b""  # hung up between poll and write


@contextmanager
def served(
    play: Callable[[float], bytes],
    *,
    clock: Callable[[], float],
    speed: float = 1.0,
    rate_hz: float = 80.0,
    resets_on_open: bool = True,
) -> Iterator[Link]:
    """Serve the device's side of `play(rate_hz)` on a pseudo-terminal.

    Args:
        play: Sample rate to a recording (`lambda hz: play_job(seed=1, rate_hz=hz).recording`).
        clock: Monotonic seconds, such as `time.monotonic`.
        speed: How many seconds of the script pass in one second of the clock.
        rate_hz: Rate to begin with; `R,<rate>` asks for another.
        resets_on_open: Whether opening the port starts the device anew.
    """
    feed = ScriptFeed(play, rate_hz=rate_hz, speed=speed, resets_on_open=resets_on_open)
    with served_feed(feed, clock=clock) as link:
        yield link


@contextmanager
def served_feed(feed: Feed, *, clock: Callable[[], float]) -> Iterator[Link]:
    """Serve any feed on a pseudo-terminal.

    Args:
        feed: What the device has to say.
        clock: Monotonic seconds, such as `time.monotonic`.
    """
    with tempfile.TemporaryDirectory(prefix="twin-") as folder:
        link = Link(feed, clock=clock, path=Path(folder) / "ttyTWIN0")
        link.start()
        try:
            yield link
        finally:
            link.stop()
