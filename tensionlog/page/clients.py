"""Who watches and who drives; what each still has to be told, in a queue that cannot grow.

Everybody follows; one drives. The first to come drives, another takes over with one key.
A slow client misses numbers, never the state: of states only the latest waits.
"""

import json
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any, Final

MOST_NUMBERS: Final = 40
"""Two seconds of numbers at twenty a second; older ones are of no use to anybody."""

MOST_CLIENTS: Final = 16
"""A bench has a tablet or two; more than this is a mistake or an attack."""

AWAY_S: Final = 20.0
"""A driver gone for so long is not waited for: whoever presses a key drives."""


class Client:
    """One open page.

    Attributes:
        name: What it calls itself; the same after a reload.
        wake: Called when there is something to send.
        missed: Numbers that it was too slow for.
    """

    def __init__(self, name: str, wake: Callable[[], object]) -> None:
        self.name, self.wake = name, wake
        self.missed = 0
        self._state: str | None = None
        self._numbers: deque[str] = deque(maxlen=MOST_NUMBERS)

    def told(self) -> list[tuple[str, str]]:
        """What waits to be sent: (event, JSON), the state first; nothing waits after it."""
        out = [("state", self._state)] if self._state is not None else []
        self._state = None
        out += [("now", number) for number in self._numbers]
        self._numbers.clear()
        return out

    def state(self, text: str) -> None:
        """Replace the state that waits."""
        self._state = text
        self.wake()

    def number(self, text: str) -> None:
        """Add a number; the oldest gives way."""
        if len(self._numbers) == MOST_NUMBERS:
            self.missed += 1
        self._numbers.append(text)
        self.wake()


class Clients:
    """All open pages.

    Attributes:
        driver: Name of the client that drives, or None.
    """

    def __init__(self) -> None:
        self.driver: str | None = None
        self._open: list[Client] = []
        self._state: Mapping[str, Any] = {}
        self._driver_left_s: float | None = None

    @property
    def count(self) -> int:
        """Open pages."""
        return len(self._open)

    def join(self, client: Client, *, now_s: float) -> bool:
        """Let a page follow; False where there are too many already."""
        if len(self._open) >= MOST_CLIENTS:
            return False
        self._open.append(client)
        if self.driver is None or self._is_away(now_s):
            self.driver = client.name
        if client.name == self.driver:
            self._driver_left_s = None
        client.state(self._text())
        return True

    def leave(self, client: Client, *, now_s: float) -> None:
        """A page was closed, or its line broke."""
        self._open = [other for other in self._open if other is not client]
        if client.name == self.driver and not any(c.name == self.driver for c in self._open):
            self._driver_left_s = now_s

    def take_over(self, name: str) -> None:
        """This page drives now."""
        self.driver, self._driver_left_s = name, None
        self.show(self._state)

    def drives(self, name: str, *, now_s: float) -> bool:
        """Whether this page may give commands; it may where nobody else drives."""
        if self.driver is None or self._is_away(now_s):
            self.take_over(name)
        return name == self.driver

    def show(self, state: Mapping[str, Any]) -> None:
        """Tell every page how the bench stands."""
        self._state = state
        text = self._text()
        for client in self._open:
            client.state(text)

    def number(self, body: Mapping[str, Any]) -> None:
        """Tell every page what the cell reads."""
        if self._open:
            text = json.dumps(body, separators=(",", ":"), allow_nan=False)
            for client in self._open:
                client.number(text)

    def _is_away(self, now_s: float) -> bool:
        return self._driver_left_s is not None and now_s - self._driver_left_s > AWAY_S

    def _text(self) -> str:
        state = {**self._state, "driver": self.driver, "pages": len(self._open)}
        return json.dumps(state, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
