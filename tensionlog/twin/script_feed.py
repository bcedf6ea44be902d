"""What a scripted device has to say by now: recording in, bytes out; no port, no clock."""

from collections.abc import Callable, Iterator
from datetime import datetime

from tensionlog.model.lines import Comment, Hello
from tensionlog.twin.bench import FASTEST_HZ, SLOWEST_HZ
from tensionlog.twin.device import SEQ_MOD, TICK_MOD
from tensionlog.twin.renumber import Renumber
from tensionlog.wire import decode_line, encode

SEND_BUFFER_BYTES = 65_536
"""What the device can hold back while the host does not read; whole lines are lost then."""

BOOT_S = 1.6
"""A board with a boot loader is silent for so long, in its own time."""

_IDLE_SAMPLES = 160
_LONGEST_COMMAND = 64
Timed = tuple[float, bytes]


def device_lines(recording: bytes) -> list[Timed]:
    """What the device said in a recording: (seconds from the first read, line)."""
    said: list[Timed] = []
    first_s, at_s = None, 0.0
    for line in recording.split(b"\n")[:-1]:
        if line.startswith(b"@ "):
            stamp_s = datetime.fromisoformat(line[2:].decode()).timestamp()
            first_s = stamp_s if first_s is None else first_s
            at_s = stamp_s - first_s
        elif not line.startswith((b"# ", b"! ")):
            said.append((at_s, line + b"\n"))
    return said


def _first_hello(said: list[Timed]) -> Hello:
    for _, line in said:
        if line.startswith(b"H,") and isinstance(hello := decode_line(line), Hello):
            return hello
    raise ValueError("a scripted device must say hello in the recording it plays")


class ScriptFeed:
    """A device that says a recording again, in its own time and under its own numbers."""

    def __init__(
        self,
        play: Callable[[float], bytes],
        *,
        rate_hz: float,
        speed: float,
        resets_on_open: bool,
    ) -> None:
        """Be ready; nothing is said before `opened`."""
        self.dropped_lines = 0
        self._play, self._speed, self._resets = play, speed, resets_on_open
        self._began_s: float | None = None
        self._silent_until_s = 0.0
        self._boots = 0
        self._commands = self._answers = b""
        self._lines: Iterator[Timed] = iter(())
        self._next: Timed = (0.0, b"")
        self.power_up()
        self._load(rate_hz)

    def power_up(self) -> None:
        """Start anew: another boot, clock and numbers from the beginning."""
        self._boots += 1
        self._said = Renumber(boot=f"{self._boots:04X}")
        self._owes_hello = True

    def opened(self, now_s: float) -> None:
        """Somebody opened the port; the first to do so starts the script."""
        if self._began_s is None:
            self._began_s = now_s
        elif self._resets:
            self.power_up()
            self._silent_until_s = self._script_s(now_s) + BOOT_S
        else:
            self._skip_to(self._script_s(now_s))

    def told(self, received: bytes) -> None:
        """Take what the host sent; `?` and `R,<rate>` are understood, the rest is not."""
        *whole, rest = (self._commands + received).split(b"\n")
        self._commands = rest[-_LONGEST_COMMAND:]
        for command in whole:
            self._answers += self._answer(command.strip())

    def due(self, now_s: float, *, waiting: int) -> bytes:
        """Everything to be said by now.

        Args:
            now_s: The clock.
            waiting: Bytes said before that the host has not fetched.
        """
        if self._began_s is None:
            return b""
        until_s = self._script_s(now_s)
        out, self._answers = self._answers, b""
        while self._next[0] <= until_s:
            at_s, line = self._next
            if at_s >= self._silent_until_s:
                said = self._greeting() + self._said(line)
                if waiting + len(out) + len(said) <= SEND_BUFFER_BYTES:
                    out += said
                else:
                    self.dropped_lines += 1
            self._next = next(self._lines)
        return out

    def _script_s(self, now_s: float) -> float:
        return 0.0 if self._began_s is None else (now_s - self._began_s) * self._speed

    def _load(self, rate_hz: float) -> None:
        said = device_lines(self._play(rate_hz))
        self._hello, self._period_s = _first_hello(said), 1.0 / rate_hz
        self._lines = self._endless([pair for pair in said if not pair[1].startswith(b"H,")])
        self._next = next(self._lines)

    def _endless(self, script: list[Timed]) -> Iterator[Timed]:
        """The script, then its last readings over and over."""
        yield from script
        at_s = script[-1][0]
        idle = [line for _, line in script if line.startswith(b"S,")][-_IDLE_SAMPLES:]
        while True:
            self._go_on()
            for line in idle:
                at_s += self._period_s
                yield at_s, line

    def _go_on(self) -> None:
        """Let the numbers go on although the script goes back."""
        if not self._said.has_said:
            return
        seq, t_us = self._said.last
        self._said = Renumber(
            boot=self._said.boot,
            first_seq=(seq + 1) % SEQ_MOD,
            first_t_us=(t_us + round(self._period_s * 1e6)) % TICK_MOD,
        )

    def _greeting(self) -> bytes:
        owed, self._owes_hello = self._owes_hello, False
        return self._who() if owed else b""

    def _who(self) -> bytes:
        return encode(self._hello._replace(boot=self._said.boot))

    def _answer(self, command: bytes) -> bytes:
        if command == b"?":
            return self._who()
        if command.startswith(b"R,"):
            return self._change_rate(command[2:])
        return b""

    def _change_rate(self, asked: bytes) -> bytes:
        try:
            rate_hz = float(asked)
        except ValueError:
            return encode(Comment("rate not understood"))
        if not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
            return encode(Comment(f"rate must be {SLOWEST_HZ:g} to {FASTEST_HZ:g}"))
        reached_s = self._next[0]
        self._load(rate_hz)
        self._go_on()
        while self._next[0] < reached_s:  # not said at all, so not counted as missing
            self._next = next(self._lines)
        return self._who()

    def _skip_to(self, until_s: float) -> None:
        """Say into the void what came while nobody listened."""
        while self._next[0] <= until_s:
            self._said(self._next[1])
            self._next = next(self._lines)
