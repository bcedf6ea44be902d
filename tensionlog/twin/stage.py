"""A bench that waits: idle until a recording is put on, then idle again until the next.

A page is driven by whoever sits before it, so the twin cannot know when its strings are
due. Between two plays the device goes on measuring the empty cell, as a real one does.
"""

from collections import deque
from collections.abc import Iterator
from threading import RLock

from tensionlog.twin.live_feed import LiveFeed
from tensionlog.twin.script_feed import ScriptFeed, Timed, device_lines

_IDLE_LINES = 120


class StageFeed(ScriptFeed):
    """Plays recordings as they are put on; they must come from benches of one sample rate."""

    def __init__(self, idle: bytes, *, rate_hz: float, speed: float = 1.0) -> None:
        """Be ready.

        Args:
            idle: A recording whose first seconds show the empty cell.
            rate_hz: Samples per second.
            speed: How many seconds of a recording pass in one second of the clock.
        """
        self._cues: deque[bytes] = deque()
        self._lock = RLock()
        self._began_at: list[float] = []
        self._is_playing = False
        self._led: LiveFeed | None = None
        self._led_since_s = self._led_for_s = 0.0
        self._latest_s = 0.0
        super().__init__(lambda _hz: idle, rate_hz=rate_hz, speed=speed, resets_on_open=True)

    @property
    def is_idle(self) -> bool:
        """Whether everything that was put on is over."""
        return not self._cues and not self._is_playing

    def put_on(self, recording: bytes) -> None:
        """Have a recording played as soon as what is on is over."""
        self._cues.append(recording)

    def lead(self, live: LiveFeed | None) -> None:
        """Let an operator who does what a guide asks take the stage; None: leave it again."""
        with self._lock:
            if live is not None:
                live.opened(self._latest_s)
                self._led_since_s = self._latest_s
            elif self._led is not None:
                self._led_for_s += self._latest_s - self._led_since_s
            self._led = live
            self._go_on()

    def due(self, now_s: float, *, waiting: int) -> bytes:
        """Everything to be said by now."""
        with self._lock:
            self._latest_s = now_s
            if self._led is not None:
                lines = self._led.due(now_s).splitlines(keepends=True)
                said = (self._said(line) for line in lines if line.startswith(b"S,"))
                return self._greeting() + b"".join(said)
            return super().due(now_s, waiting=waiting)

    def _script_s(self, now_s: float) -> float:
        # The script stands still while somebody else is on the stage.
        return super()._script_s(now_s) - self._led_for_s * self._speed

    def began_s(self, number: int) -> float | None:
        """Script time at which play `number` (from 0) began, seconds; None before."""
        return self._began_at[number] if number < len(self._began_at) else None

    def _endless(self, script: list[Timed]) -> Iterator[Timed]:
        """The empty cell over and over, and in between whatever is put on."""
        empty = [line for _, line in script if line.startswith(b"S,")][:_IDLE_LINES]
        at_s = 0.0
        while True:
            cue = self._cues.popleft() if self._cues else None
            self._go_on()
            if cue is not None:
                self._is_playing = True
                self._began_at.append(at_s)
                begin_s = at_s
                for t_s, line in device_lines(cue):
                    if not line.startswith(b"H,"):
                        at_s = begin_s + t_s
                        yield at_s, line
                self._is_playing = False
                continue
            for line in empty:
                at_s += self._period_s
                yield at_s, line
                if self._cues:
                    break
