"""Listen to a device for a while: a port's bytes to what `device` looks at."""

import re
from collections.abc import Callable, Iterator
from typing import Protocol

import numpy as np

from tensionlog.device.heard import Heard
from tensionlog.model.lines import BadLine, Comment, DeviceLine, Event, Fault, Hello, Sample
from tensionlog.timeline import Reading, Restart, Timeline
from tensionlog.wire import LineDecoder

_READABLE = re.compile(rb"[\t\x20-\x7e]+")

ASK_EVERY_S = 1.0
"""A boot loader swallows the first questions."""

MOST_PLAIN = 8
ENOUGH_SAMPLES = 3


class PortLike(Protocol):
    """What is asked of a port, see `tensionlog.sources.serial_port`."""

    def read(self) -> bytes:
        """Wait a tenth of a second at most; b"" is quiet."""

    def send(self, line: str) -> bool:
        """Send one line."""


class Listener:
    """Collects what a port says.

    Attributes:
        hellos: Identities so far.
        comments: What the device remarked so far.
    """

    def __init__(self, port: PortLike, *, clock_s: Callable[[], float]) -> None:
        """Begin to listen.

        Args:
            port: Open.
            clock_s: Seconds that never jump; the device's clock is held against them.
        """
        self.hellos: list[Hello] = []
        self.comments: list[str] = []
        self._port, self._clock_s = port, clock_s
        self._began_s = clock_s()
        self._asked_s = float("-inf")
        self._decoder = LineDecoder()
        self._timeline = Timeline(rate_hz=None, adc_bits=None, started_s=self._began_s)
        self._readings: list[tuple[float, float, float]] = []
        self._plain: list[str] = []
        self._restarts = 0

    @property
    def lasted_s(self) -> float:
        """Host seconds since it began."""
        return self._clock_s() - self._began_s

    @property
    def samples(self) -> int:
        """Valid sample lines so far."""
        return self._timeline.ledger().samples

    def listen(self, until_s: float) -> Iterator[DeviceLine]:
        """Give the lines that come, until so many seconds after the beginning.

        Raises:
            LinkError: The port is gone.
        """
        while self.lasted_s < until_s:
            if not self.hellos and self.lasted_s - self._asked_s >= ASK_EVERY_S:
                self._asked_s = self.lasted_s
                self._port.send("?")
            yield from self._take(self._port.read())

    def ask(self, command: str) -> bool:
        """Say something to the device, such as `R,80`; False if it did not take it."""
        return self._port.send(command)

    def heard(self) -> Heard:
        """Everything so far."""
        ledger, drift = self._timeline.ledger(), self._timeline.drift_ppm()
        columns = np.array(self._readings, dtype=np.float64).reshape(-1, 3).T
        return Heard(
            t_s=columns[0],
            counts=columns[1],
            arrived_s=columns[2],
            hellos=tuple(self.hellos),
            faults=dict(ledger.faults),
            comments=tuple(self.comments),
            plain_lines=tuple(self._plain),
            samples=ledger.samples,
            bad_lines=ledger.bad_lines,
            missing=ledger.missing or 0,
            restarts=self._restarts,
            bytes_read=self._decoder.bytes_fed,
            lasted_s=self.lasted_s,
            ppm=None if drift is None else drift.ppm,
            u_ppm=None if drift is None else drift.u_ppm,
        )

    def _take(self, data: bytes) -> list[DeviceLine]:
        if not data:
            return []
        is_first = not self._decoder.bytes_fed
        lines = self._decoder.feed(data)
        if is_first and lines and isinstance(lines[0], BadLine):
            lines = lines[1:]  # whoever opens a port comes in the middle of a line
        at_s = self._clock_s()
        self._timeline.arrived(at_s)
        for event in self._timeline.feed(lines):
            if isinstance(event, Restart):
                self._restarts += 1
                self._readings.clear()
            elif isinstance(event, Reading):
                self._readings.append((event.t_s, event.counts, at_s - self._began_s))
        for line in lines:
            self._note(line)
        return lines

    def _note(self, line: DeviceLine) -> None:
        if isinstance(line, Hello):
            self.hellos.append(line)
        elif isinstance(line, Comment):
            self.comments.append(line.text)
        elif isinstance(line, BadLine) and len(self._plain) < MOST_PLAIN:
            text = line.raw.strip(b"\r")
            if line.why == "form" and _READABLE.fullmatch(text):
                self._plain.append(text.decode("ascii"))


SHOWN = (Hello, Event, Fault, Comment)
"""Lines that `device watch` shows one by one; samples are counted."""


def is_shown(line: DeviceLine) -> bool:
    """Whether a line is worth a line of its own on a screen."""
    return isinstance(line, SHOWN) and not isinstance(line, Sample)


def identify(listener: Listener, *, at_most_s: float) -> Heard:
    """Ask who is there until somebody answers and a few readings came."""
    for _ in listener.listen(at_most_s):
        if listener.hellos and listener.samples >= ENOUGH_SAMPLES:
            break
    return listener.heard()


def set_rate(
    listener: Listener, rate_hz: float, *, at_most_s: float
) -> tuple[Hello | None, tuple[str, ...]]:
    """Ask for a rate; return the identity that answered, and what was remarked meanwhile."""
    identify(listener, at_most_s=at_most_s)
    named, remarked = len(listener.hellos), len(listener.comments)
    listener.ask(f"R,{rate_hz:g}")
    for _ in listener.listen(listener.lasted_s + at_most_s):
        if len(listener.hellos) > named:
            break
    answered = listener.hellos[named:]
    return (answered[-1] if answered else None), tuple(listener.comments[remarked:])
