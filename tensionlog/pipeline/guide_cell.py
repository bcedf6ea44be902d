"""Steps that only the check of a cell has: warming up, and a reference scale read aloud."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from tensionlog.check.stable import StableReading
from tensionlog.check.verdict import Tolerance
from tensionlog.model.guide import Ask, Out, Refused, Took, Write
from tensionlog.pipeline.guide import Cell
from tensionlog.pipeline.guide_steps import UNSTEADY_S, Leaving
from tensionlog.units import to_newtons

LEAST_WARM_S: Final = 20.0
MOST_WARM_S: Final = 180.0
APART_S: Final = 15.0
STILL_N: Final = 0.15
"""A warm cell's zero moves by no more than this in `APART_S`: three times what the walk
of a sound one comes to (0.01 N per root second, bench experience, no source)."""

NOT_MUCH: Final = 0.2
"""A scale and a cell that differ by more are not reading the same unit."""


@dataclass(slots=True, kw_only=True)
class WarmUp:
    """The empty cell is left alone until its noise and drift say that it is warm.

    Attributes:
        ask: What is waited for.
        most_s: After so long the check goes on all the same, and says so.
    """

    ask: Ask
    most_s: float = MOST_WARM_S
    state: str = "settling"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _t_s: list[float] = field(default_factory=list)
    _readings: list[float] = field(default_factory=list)
    _looked_s: float = 0.0

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Begin to watch."""
        self._t_s, self._readings, self._looked_s = [], [], cell.t_s
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """Watch drift and noise."""
        self._t_s.append(cell.t_s)
        self._readings.append(cell.reading)
        passed_s = cell.t_s - self._t_s[0]
        self.share = min(1.0, passed_s / LEAST_WARM_S)
        if passed_s < LEAST_WARM_S or cell.t_s - self._looked_s < 1.0:
            return []
        self._looked_s = cell.t_s
        moved, noise = self._moved(cell.t_s)
        still = STILL_N if cell.unit == "N" else 5 * noise
        if abs(moved) > still and passed_s < self.most_s:
            return []
        words = "warm" if abs(moved) <= still else "warm-up-drifts"
        values = {"moved_n": moved, "noise_n": noise, "apart_s": APART_S, "after_s": passed_s}
        return [Took(step=self.ask.step, words=words, values=values, unit=cell.unit)]

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`next` goes on cold."""
        if key != "next":
            return []
        return [Took(step=self.ask.step, words="warm-up-cut", unit=cell.unit)]

    def _moved(self, now_s: float) -> tuple[float, float]:
        """How far zero went over `APART_S`, and the noise of one sample."""
        t, x = np.array(self._t_s), np.array(self._readings)
        late = x[t > now_s - 5.0]
        early = x[(t > now_s - 5.0 - APART_S) & (t <= now_s - APART_S)]
        noise = float(np.median(np.abs(np.diff(late))) / 0.954) if len(late) > 2 else 0.0
        return float(np.median(late) - np.median(early)) if len(early) else 0.0, noise


@dataclass(slots=True, kw_only=True)
class Number:
    """A pull against a reference scale in line: held still, and the scale read aloud.

    Attributes:
        ask: What to do; `force_n` is about what is pulled.
        unit: What the scale shows.
        tolerance: What a stable level is measured against.
    """

    ask: Ask
    unit: str
    tolerance: Tolerance = field(default_factory=Tolerance)
    state: str = "waiting"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _stable: StableReading | None = None
    _leaving: Leaving | None = None
    _left_s: float = 0.0
    _typed_n: float | None = None
    _doubted_n: float | None = None
    _steady: tuple[float, float] | None = None

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the pull."""
        level = cell.reading if cell.level is None else cell.level
        self.state, self._typed_n, self._steady = "waiting", None, None
        self._stable = None
        self._leaving = Leaving(level, max(2.0, 0.05 * (self.ask.force_n or 0.0)))
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """Watch it come to rest."""
        if self._leaving is not None:
            left_s = self._leaving.push(cell.t_s, cell.reading)
            if left_s is None:
                return []
            self._leaving, self._left_s, self.state = None, left_s, "settling"
            self._stable = self._watch(cell)
            return []
        captured = None if self._stable is None else self._stable.push(cell.t_s, cell.reading)
        if captured is not None:
            self.state = "steady"
            self._steady = captured.level.level, captured.level.u
        if self._steady is None:
            return self._trouble(cell)
        return self._both(cell)

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """A number is what the scale shows; `again` waits for another pull."""
        if key == "again":
            return self.begin(cell)
        if key == "next":
            return []
        given_n = to_newtons(float(key), self.unit)
        if not given_n > 0:
            return [self._refused("not-a-force", given=key)]
        now = cell.above_zero
        if abs(given_n / max(now, 1e-9) - 1) > NOT_MUCH and given_n != self._doubted_n:
            self._doubted_n = given_n
            return [self._refused("unlikely", given_n=given_n, reads_n=now, given=key)]
        self._typed_n = given_n
        return self._both(cell)

    def _watch(self, cell: Cell) -> StableReading:
        return StableReading(
            load_n=self.ask.force_n or 0.0,
            before_n=cell.level,
            zero_n=cell.zero or 0.0,
            tolerance=self.tolerance,
            has_left=True,
        )

    def _both(self, cell: Cell) -> list[Out]:
        """Once the cell is steady and the scale was read, the load is known."""
        if self._typed_n is None or self._steady is None:
            return []
        level, u = self._steady
        cell.level = level
        body: Mapping[str, Any] = {"note": "load", "force_N": round(self._typed_n, 4)}
        took = Took(
            step=self.ask.step,
            words="scale",
            values={"given_n": self._typed_n},
            value=level - (cell.zero or 0.0),
            u=u,
            unit=cell.unit,
        )
        return [Write(body, ago_s=cell.t_s - self._left_s), took]

    def _trouble(self, cell: Cell) -> list[Out]:
        if cell.t_s - self._left_s < UNSTEADY_S:
            return []
        return [self._refused("unsteady")]

    def _refused(self, words: str, **values: object) -> Refused:
        return Refused(step=self.ask.step, words=words, values=values)
