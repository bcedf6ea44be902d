"""Leads an operator through a test: readings and keys in, words and notes out.

No terminal, no page, no port and no clock: time is the device's, as the readings carry it.
A test is a list of steps; each says what to do, watches the cell until that is done, and
hands over to the next. `tensionlog.pipeline.guide_steps` has the steps that tests share.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Final, Protocol

from tensionlog.model.guide import KEYS, Ask, Done, Out, Reading, Refused, Took, Write

EARLY: Final = 40
USUAL_NOISE_N: Final = 0.05
"""So many readings show the noise, and a bench's is about this (experience, no source)."""

SHOW_EVERY_S: Final = 0.25
"""How often the reading is shown: a glance takes half a second."""


@dataclass(slots=True, kw_only=True)
class Cell:
    """What the steps of one test know of the cell together.

    Attributes:
        unit: `N`, or `counts` while only the noise tells about what a count is worth.
        counts_per_n: Counts for a newton where readings come as counts; a rough guess by
            the noise at first, then by the first load.
        t_s: Device time of the latest reading, seconds.
        reading: The latest reading.
        zero: Level of the empty cell; None before it was read.
        level: Level captured last; None before any.
        took: What each step captured, by its name.
    """

    unit: str = "N"
    counts_per_n: float | None = None
    t_s: float = 0.0
    reading: float = 0.0
    zero: float | None = None
    level: float | None = None
    took: dict[str, Took] = field(default_factory=dict)

    @property
    def above_zero(self) -> float:
        """The latest reading with the empty cell taken off, where it is known."""
        return self.reading - (self.zero or 0.0)

    def scaled_by(self, times: float) -> None:
        """The first known load tells that all readings are so many times as large."""
        if self.counts_per_n is not None:
            self.counts_per_n /= times
        self.reading *= times
        self.zero = None if self.zero is None else self.zero * times
        self.level = None if self.level is None else self.level * times
        self.unit = "N"


class Step(Protocol):
    """One thing to be done."""

    @property
    def ask(self) -> Ask:
        """What the operator shall do."""

    @property
    def again_note(self) -> Mapping[str, Any] | None:
        """Written where a step that was taken is made again, or None."""

    @property
    def state(self) -> str:
        """One of `model.guide.STATES`."""

    @property
    def share(self) -> float | None:
        """How far it has come, 0 to 1."""

    def begin(self, cell: Cell) -> Sequence[Out]:
        """The step is on; called again where it is to be made again."""

    def reading(self, cell: Cell) -> Sequence[Out]:
        """One more reading; a `Took` among what is given ends the step."""

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """A key of `model.guide.KEYS` but `stop`, or a number in words."""


class Guide:
    """Walks through the steps of one test.

    Attributes:
        cell: What is known of the cell.
        is_over: Whether `Done` was given.
        is_complete: Whether every step was made.
        wants_counts: Whether readings are to come as counts.
    """

    def __init__(
        self,
        steps: Sequence[Step],
        *,
        unit: str = "N",
        first: Sequence[Mapping[str, object]] = (),
        last: Sequence[Mapping[str, object]] = (),
        done: str = "done",
    ) -> None:
        """Be ready; nothing is asked before the first reading.

        Args:
            steps: In order.
            unit: Of the readings: `N`, or `counts` where the scale is not known.
            first: Notes that begin the test.
            last: Notes that end it; not written where it is broken off.
            done: Key of the last sentence.
        """
        self.cell = Cell(unit=unit)
        self.wants_counts = unit == "counts"
        self._early: list[float] = []
        self.is_over = self.is_complete = False
        self._steps, self._at = list(steps), -1
        self._first, self._last, self._done = first, last, done
        self._began_s = self._step_began_s = 0.0
        self._shown_s = float("-inf")
        self._refused: set[tuple[str, str]] = set()

    @property
    def asks(self) -> list[Ask]:
        """Every ask of the test, numbered, as a plan to look at beforehand."""
        return [self._numbered(i) for i in range(len(self._steps))]

    def reading(self, t_s: float, value: float) -> list[Out]:
        """Take one reading.

        Args:
            t_s: Device time, seconds from the recording's first sample.
            value: The reading in the guide's unit.
        """
        if self.is_over or not self._is_scaled(value):
            return []
        self.cell.t_s = t_s
        self.cell.reading = value / (self.cell.counts_per_n or 1.0)
        if self._at < 0:
            self._began_s = t_s
            return [*(Write(dict(body)) for body in self._first), *self._next()]
        step = self._steps[self._at]
        return [*self._taken(step.reading(self.cell)), *self._show()]

    def _is_scaled(self, value: float) -> bool:
        """Whether a reading can be told in newtons; counts first show their noise."""
        if not self.wants_counts or self.cell.counts_per_n is not None:
            return True
        self._early.append(value)
        if len(self._early) >= EARLY:
            steps = sorted(abs(b - a) for a, b in pairwise(self._early))
            noise = steps[len(steps) // 2] / 0.954  # median |difference| of white noise
            self.cell.counts_per_n = max(noise, 0.3) / USUAL_NOISE_N
        return False

    def key(self, key: str) -> list[Out]:
        """Take a key, or a number that the operator gives; others are not heard."""
        if self.is_over or self._at < 0:
            return []
        if key == "stop":
            return self._finish(complete=False)
        if key == "skip":
            return self._next()
        if key == "again" and self._is_fresh(self._steps[self._at]) and self._at > 0:
            return self._go_back()
        if key in KEYS or _is_number(key):
            return self._taken(self._steps[self._at].key(key, self.cell))
        return []

    def refuse(self, words: str, **values: object) -> list[Out]:
        """Say that something is wrong with the line (a fault, quiet), once a step."""
        if self.is_over or self._at < 0:
            return []
        refused = Refused(step=self._numbered(self._at).step, words=words, values=values)
        return self._once(refused)

    def stop(self) -> list[Out]:
        """Break the test off."""
        return [] if self.is_over else self._finish(complete=False)

    def _taken(self, outs: Sequence[Out]) -> list[Out]:
        said: list[Out] = []
        over = False
        for out in outs:
            if isinstance(out, Took):
                took = replace(out, took_s=self.cell.t_s - self._step_began_s)
                self.cell.took[took.step] = took
                said.append(took)
                over = True
            elif isinstance(out, Refused):
                said += self._once(out)
                if out.stops:
                    return [*said, *self._finish(complete=False)]
            else:
                said.append(out)
        return [*said, *self._next()] if over else said

    def _once(self, refused: Refused) -> list[Out]:
        key = (refused.step, refused.words)
        if key in self._refused:
            return []
        self._refused.add(key)
        return [refused]

    def _next(self) -> list[Out]:
        self._at += 1
        if self._at >= len(self._steps):
            return self._finish(complete=True)
        return self._begin()

    def _begin(self) -> list[Out]:
        self._step_began_s = self.cell.t_s
        self._refused.clear()
        return [self._numbered(self._at), *self._steps[self._at].begin(self.cell)]

    def _go_back(self) -> list[Out]:
        """To the last step in which something was read; letting off is none."""
        while self._at > 0:
            self._at -= 1
            if self._steps[self._at].ask.ends != "let-off":
                break
        note = self._steps[self._at].again_note
        return [*([] if note is None else [Write(dict(note))]), *self._begin()]

    @staticmethod
    def _is_fresh(step: Step) -> bool:
        return step.state == "waiting" or step.ask.ends == "let-off"

    def _finish(self, *, complete: bool) -> list[Out]:
        self.is_over, self.is_complete = True, complete
        notes = [Write(dict(body)) for body in self._last] if complete else []
        took_s = self.cell.t_s - self._began_s if self._at >= 0 else 0.0
        words = self._done if complete else "broken-off"
        values = {"steps": min(self._at, len(self._steps)), "of": len(self._steps)}
        return [*notes, Done(words=words, values=values, complete=complete, took_s=took_s)]

    def _show(self) -> list[Out]:
        if self.is_over or self.cell.t_s - self._shown_s < SHOW_EVERY_S:
            return []
        self._shown_s = self.cell.t_s
        step = self._steps[self._at]
        return [
            Reading(
                step=step.ask.step,
                t_s=self.cell.t_s,
                value=self.cell.above_zero,
                unit=self.cell.unit,
                state=step.state,
                share=step.share,
            )
        ]

    def _numbered(self, at: int) -> Ask:
        at = min(max(at, 0), len(self._steps) - 1)
        return replace(self._steps[at].ask, number=at + 1, of=len(self._steps))


def _is_number(key: str) -> bool:
    try:
        return float(key) == float(key)
    except ValueError:
        return False
