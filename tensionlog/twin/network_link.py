"""The bench behind a network socket, where the system has no pseudo-terminals.

One listener at a time; like a board on a cable it does not begin before somebody listens,
and what it says to nobody is lost.
"""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread

from tensionlog.twin.script_feed import ScriptFeed

_TICK_S = 0.004
_JOIN_S = 2.0
_READ_BYTES = 4096


@contextmanager
def served_on_network(
    play: Callable[[float], bytes],
    *,
    clock: Callable[[], float],
    speed: float = 1.0,
    rate_hz: float = 80.0,
) -> Iterator[str]:
    """Serve the device's side of `play(rate_hz)`; yield the URL to open as a port.

    Args:
        play: Sample rate to a recording.
        clock: Monotonic seconds, such as `time.monotonic`.
        speed: How many seconds of the script pass in one second of the clock.
        rate_hz: Rate to begin with; `R,<rate>` asks for another.
    """
    feed = ScriptFeed(play, rate_hz=rate_hz, speed=speed, resets_on_open=True)
    with feed_on_network(feed, clock=clock) as url:
        yield url


@contextmanager
def feed_on_network(feed: ScriptFeed, *, clock: Callable[[], float]) -> Iterator[str]:
    """Serve a feed of one's own behind a socket, paced by `clock` (seconds)."""
    stop = Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(_TICK_S)
        thread = Thread(target=_serve, args=(server, feed, clock, stop), daemon=True)
        thread.start()
        try:
            yield f"socket://127.0.0.1:{server.getsockname()[1]}"
        finally:
            stop.set()
            thread.join(_JOIN_S)


def _serve(
    server: socket.socket, feed: ScriptFeed, clock: Callable[[], float], stop: Event
) -> None:
    while not stop.is_set():
        with suppress(TimeoutError):
            connection, _ = server.accept()
            with connection, suppress(OSError):  # whoever listened has hung up
                _talk(connection, feed, clock, stop)


def _talk(
    connection: socket.socket, feed: ScriptFeed, clock: Callable[[], float], stop: Event
) -> None:
    connection.settimeout(_TICK_S)
    feed.opened(clock())
    while not stop.is_set():
        with suppress(TimeoutError):
            heard = connection.recv(_READ_BYTES)  # waits a tick, which paces the loop
            if not heard:
                return
            feed.told(heard)
        _say(connection, feed.due(clock(), waiting=0), stop)


def _say(connection: socket.socket, said: bytes, stop: Event) -> None:
    """Send all, however slowly the other side takes it."""
    while said and not stop.is_set():
        with suppress(TimeoutError):
            said = said[connection.send(said) :]
