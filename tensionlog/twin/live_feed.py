"""The device of a bench where things still happen: lines as they are due, in bench time."""

from threading import Lock

import numpy as np

from tensionlog.model.guide import Ask
from tensionlog.twin.device import SEQ_MOD, TICK_MOD, sample_line
from tensionlog.twin.hands import Hands
from tensionlog.twin.live_cell import LiveCell
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S


class LiveFeed:
    """What the device says while an operator does what a guide asks.

    The same face as `ScriptFeed`: a pseudo-terminal serves either.

    Attributes:
        hands: The operator.
        dropped_lines: None: what was not fetched in time is said with the next.
    """

    def __init__(self, hands: Hands, *, seed: int, speed: float = 1.0) -> None:
        """Be ready; the bench's clock starts when somebody opens the port.

        Args:
            hands: Who does what is asked.
            seed: Of the cell's noise.
            speed: Seconds of the bench in one of the clock.
        """
        self.hands, self.dropped_lines = hands, 0
        self._device = hands.bench.device
        self._cell = LiveCell(
            stream(seed, "live cell"),
            cell=hands.cell,
            rate_hz=self._device.true_rate_hz,
        )
        self._speed = speed
        self._began_s: float | None = None
        self._done = 0
        self._owes_hello = True
        self._keys_told = 0
        self._lock = Lock()

    def power_up(self) -> None:
        """Nothing: this device is never unplugged."""

    def opened(self, now_s: float) -> None:
        """Somebody opened the port."""
        if self._began_s is None:
            self._began_s = now_s

    def told(self, received: bytes) -> None:
        """Take what the host sent; `?` is understood."""
        self._owes_hello = self._owes_hello or b"?" in received

    def bench_s(self, now_s: float) -> float:
        """Seconds of the bench since it began."""
        return 0.0 if self._began_s is None else (now_s - self._began_s) * self._speed

    def asked(self, ask: Ask, now_s: float) -> None:
        """Let the operator hear an ask."""
        with self._lock:
            self.hands.asked(ask, max(self.bench_s(now_s), self._done_s))

    def keys(self, now_s: float) -> list[str]:
        """What the operator has said by now, each once."""
        at_s = self.bench_s(now_s)
        with self._lock:
            due = [(t, key) for t, key in self.hands.keys if t <= at_s]
            self.hands.keys = [pair for pair in self.hands.keys if pair not in due]
        return [key for _, key in due]

    def due(self, now_s: float, *, waiting: int = 0) -> bytes:
        """Everything to be said by now."""
        if self._began_s is None:
            return b""
        with self._lock:
            return self._said(int(self.bench_s(now_s) * self._device.true_rate_hz))

    @property
    def _done_s(self) -> float:
        return self._done / self._device.true_rate_hz

    def _said(self, until: int) -> bytes:
        first = self._done
        if until <= first:
            return self._hello()
        fold, rate_hz = self._cell.fold, self._device.true_rate_hz
        at_s = (np.arange(first * fold, until * fold) + 1) / (fold * rate_hz)
        begin = int(at_s[0] / DT_S)
        end = int(at_s[-1] / DT_S) + 2
        force = self.hands.at(begin, end)
        fine = np.interp(at_s, np.arange(begin, end) * DT_S, force)
        counts = self._cell.counts(fine)
        self._done = until
        return self._hello() + b"".join(
            self._line(first + i, count) for i, count in enumerate(counts)
        )

    def _hello(self) -> bytes:
        owed, self._owes_hello = self._owes_hello, False
        return self._device.hello(self._cell.cell.adc_bits) if owed else b""

    def _line(self, number: int, counts: int) -> bytes:
        device = self._device
        t_us = round(device.seconds(number / device.true_rate_hz) * 1e6)
        return sample_line(
            (device.first_seq + number) % SEQ_MOD, (device.first_t_us + t_us) % TICK_MOD, counts
        )
