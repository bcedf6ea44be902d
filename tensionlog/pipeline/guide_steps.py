"""The steps that guided tests share: let it settle, pull, let off, wait, ask.

Nothing is timed that the cell itself can tell: a step ends when the reading says so. The
note that a step writes acts when the operator's hand began, not when it was noticed.
"""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from tensionlog.check.stable import StableReading
from tensionlog.check.verdict import Tolerance
from tensionlog.model.guide import Ask, Out, Refused, Took, Write
from tensionlog.pipeline.guide import Cell

IN_A_ROW: Final = 3
"""So many readings in a row must say so: a spike is one."""

LOOK_BACK_S: Final = 1.5
"""How far back the beginning of a change is looked for."""

UNSTEADY_S: Final = 25.0
"""From the change of load; by then a swing has died down, unless something feeds it."""

ODD: Final = 0.1
"""A load that reads further off than this share is most likely another mass."""

WRONG_WAY_S: Final = 3.0
LET_GO: Final = 0.25
"""A head has let off when less than this share of the pull is left."""


LET_OFF_S: Final = 1.5
"""What is left of the pull before is gone by then, and no hand has moved the cell yet."""


class Leaving:
    """Notices when a reading leaves a level for good, and when that began.

    Args:
        level: Where it stands.
        by: How far it must go.
    """

    def __init__(self, level: float, by: float) -> None:
        self._level, self._by = level, by
        self._recent: deque[tuple[float, float]] = deque()

    def push(self, t_s: float, reading: float) -> float | None:
        """Add a reading; give the moment at which it left, once it has."""
        self._recent.append((t_s, reading))
        while t_s - self._recent[0][0] > LOOK_BACK_S:
            self._recent.popleft()
        last = list(self._recent)[-IN_A_ROW:]
        if len(last) < IN_A_ROW or not all(self._is_away(x) for _, x in last):
            return None
        here = [t for t, x in self._recent if abs(x - self._level) < 0.3 * self._by]
        return here[-1] if here else self._recent[0][0]

    def _is_away(self, reading: float) -> bool:
        return abs(reading - self._level) > self._by


@dataclass(slots=True, kw_only=True)
class Settle:
    """A load that hangs still: the operator hangs it, or takes everything off.

    Attributes:
        ask: What to do; `force_n` is the force expected, 0 for empty.
        note: Written when the change begins (at once for the first zero), or None.
        tolerance: What a stable level is measured against.
        patience_s: After so long without rest it is said that the load swings.
        rezero: Whether the level it comes to is the empty cell of another mounting.
    """

    ask: Ask
    note: Mapping[str, Any] | None = None
    tolerance: Tolerance = field(default_factory=Tolerance)
    patience_s: float = UNSTEADY_S
    rezero: bool = False
    state: str = "waiting"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _stable: StableReading | None = None
    _leaving: Leaving | None = None
    _left_s: float | None = None
    _began_s: float = 0.0
    _is_accepted: bool = False
    _wrong_since_s: float | None = None

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the load to come."""
        self._is_accepted, self._wrong_since_s, self._began_s = False, None, cell.t_s
        force_n = self.ask.force_n or 0.0
        self._stable = StableReading(
            load_n=force_n,
            before_n=None if cell.unit == "counts" or self.rezero else cell.level,
            zero_n=cell.zero or 0.0,
            tolerance=self.tolerance,
            has_left=True,  # nothing is pushed before it has
        )
        self._left_s = None
        if cell.level is None and not self.rezero:
            self.state, self._leaving, self._left_s = "settling", None, cell.t_s
            return self._noted(cell)
        level = cell.reading if cell.level is None else cell.level
        change = abs(force_n + (cell.zero or 0.0) - level)
        self.state = "waiting"
        self._leaving = Leaving(level, max(0.05 * change, self.tolerance.at_n(force_n)))
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """Watch it come to rest."""
        if self._stable is None:
            return []
        if self._leaving is not None:
            if self.rezero and cell.t_s - self._began_s < LET_OFF_S:
                self._leaving = Leaving(cell.reading, self.tolerance.at_n(0.0))
                return []
            self._left_s = self._leaving.push(cell.t_s, cell.reading)
            if self._left_s is None:
                return []  # nothing is looked at before the hand has come
            self._leaving, self.state = None, "settling"
            return self._noted(cell)
        captured = self._stable.push(cell.t_s, cell.reading)
        if captured is None:
            return self._trouble(cell)
        return self._captured(cell, captured.level.level, captured.level.u)

    def _captured(self, cell: Cell, level: float, u: float) -> Sequence[Out]:
        force_n, above = self.ask.force_n or 0.0, level - (cell.zero or 0.0)
        if force_n and cell.unit == "counts":
            if above <= 0:
                return [self._refused("swapped", stops=True)]
            cell.level = level
            cell.scaled_by(force_n / above)
            return self._taken(cell, cell.level or 0.0, u * force_n / above)
        if force_n and abs(above - force_n) > ODD * force_n and not self._is_accepted:
            self._stable = StableReading(
                load_n=force_n,
                before_n=cell.level,
                zero_n=cell.zero or 0.0,
                tolerance=self.tolerance,
                has_left=True,
            )
            return [self._refused("odd-load", reads_n=above, wanted_n=force_n)]
        return self._taken(cell, level, u)

    def _taken(self, cell: Cell, level: float, u: float) -> Sequence[Out]:
        self.state, cell.level = "steady", level
        if self.rezero or (not self.ask.force_n and cell.zero is None):
            cell.zero = cell.level
        return [self._took(level - (cell.zero or 0.0), u, cell.unit)]

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`again` waits anew; `next` takes an odd load, or a cell that hangs already.

        A hand cannot call a swinging mass steady.
        """
        self._is_accepted = self._is_accepted or key == "next"
        if key == "next" and self.rezero and self._leaving is not None:
            self._leaving, self._left_s, self.state = None, cell.t_s, "settling"
            return self._noted(cell)
        return self.begin(cell) if key == "again" else []

    def _noted(self, cell: Cell) -> list[Out]:
        if self.note is None or self._left_s is None:
            return []
        return [Write(dict(self.note), ago_s=cell.t_s - self._left_s)]

    def _took(self, above: float, u: float, unit: str) -> Took:
        return Took(
            step=self.ask.step,
            words=self.ask.words,
            values=self.ask.values,
            value=above,
            u=u,
            unit=unit,
        )

    def _trouble(self, cell: Cell) -> list[Out]:
        if self._left_s is None or self.rezero:
            return []
        if self._goes_the_wrong_way(cell):
            return [self._refused("swapped", stops=True)]
        if cell.t_s - self._left_s < self.patience_s:
            return []
        return [self._refused("unsteady")]

    def _goes_the_wrong_way(self, cell: Cell) -> bool:
        """Whether a load from nothing has pulled the reading down for three seconds."""
        force_n = self.ask.force_n or 0.0
        down = force_n > 0 and cell.unit == "N" and cell.above_zero < -0.3 * force_n
        if not down:
            self._wrong_since_s = None
        elif self._wrong_since_s is None:
            self._wrong_since_s = cell.t_s
        return down and cell.t_s - (self._wrong_since_s or cell.t_s) > WRONG_WAY_S

    def _refused(self, words: str, *, stops: bool = False, **values: object) -> Refused:
        named = {**self.ask.values, **values}
        return Refused(step=self.ask.step, words=words, values=named, stops=stops)


@dataclass(slots=True, kw_only=True)
class Pull:
    """A pull of the head to about `ask.force_n`, held for a while.

    Attributes:
        ask: What to do.
        note: Written as the step begins, or None.
        hold_s: How long the head must hold after the top, seconds.
        note_at_rise: Whether the note acts when the force begins to rise instead.
    """

    ask: Ask
    note: Mapping[str, Any] | None = None
    hold_s: float = 4.0
    note_at_rise: bool = False
    state: str = "waiting"
    share: float | None = None
    again_note: Mapping[str, Any] | None = field(default_factory=lambda: {"note": "redo"})
    _peak: float = 0.0
    _peak_s: float = 0.0
    _low: float = 0.0
    _leaving: Leaving | None = None

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the pull."""
        self.state, self.share, self._peak = "waiting", None, 0.0
        self._look_from(cell.reading)
        if self.note is None or self.note_at_rise:
            return []
        return [Write(dict(self.note))]

    def reading(self, cell: Cell) -> Sequence[Out]:
        """Follow the rise, the top and the hold."""
        if self._leaving is not None:
            if cell.reading < self._low - 0.3 * self._rise:
                self._look_from(cell.reading)  # the pull before is still going
            left_s = self._leaving.push(cell.t_s, cell.reading)
            if left_s is None:
                return []
            self._leaving, self.state = None, "settling"
            self._peak_s = cell.t_s
            if self.note is not None and self.note_at_rise:
                return [Write(dict(self.note), ago_s=cell.t_s - left_s)]
            return []
        return self._held(cell)

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`again` waits for another pull."""
        return self.begin(cell) if key == "again" else []

    @property
    def _rise(self) -> float:
        return max(2.0, 0.1 * (self.ask.force_n or 0.0))

    def _look_from(self, low: float) -> None:
        self._low, self._leaving = low, Leaving(low, self._rise)

    def _held(self, cell: Cell) -> Sequence[Out]:
        now = cell.above_zero
        enough = 0.7 * (self.ask.force_n or 0.0)
        if now > self._peak + max(0.3, 0.002 * self._peak):
            self._peak, self._peak_s = now, cell.t_s
        if now < LET_GO * self._peak:
            low = self._peak < enough
            words = "pull-too-low" if low else "let-off-early"
            values = {"force_n": self._peak, "wanted_n": self.ask.force_n}
            again = self.begin(cell)
            return [Refused(step=self.ask.step, words=words, values=values), *again]
        held_s = cell.t_s - self._peak_s
        self.share = min(1.0, held_s / self.hold_s)
        if held_s < self.hold_s or self._peak < enough:
            return []
        self.state = "steady"
        took = Took(
            step=self.ask.step,
            words=self.ask.words,
            values=self.ask.values,
            value=self._peak,
            unit=cell.unit,
        )
        return [took]


@dataclass(slots=True, kw_only=True)
class LetOff:
    """The head lets off, until next to nothing is left.

    Attributes:
        ask: What to do.
        note: Written when the force has gone, or None.
        first: Written as the step begins: a test that ends before it is let off.
    """

    ask: Ask
    note: Mapping[str, Any] | None = None
    first: Mapping[str, Any] | None = None
    state: str = "settling"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _from: float = 0.0

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the force to go."""
        self._from = cell.above_zero
        return [] if self.first is None else [Write(dict(self.first))]

    def reading(self, cell: Cell) -> Sequence[Out]:
        """See it go."""
        if cell.above_zero > LET_GO * self._from:
            return []
        note = [] if self.note is None else [Write(dict(self.note))]
        return [*note, Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`next` goes on at once."""
        if key != "next":
            return []
        return [Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]


@dataclass(slots=True, kw_only=True)
class Wait:
    """So much time passes, on the device's clock.

    Attributes:
        ask: What is waited for.
        seconds: How long.
        note: Written as it begins, or None.
    """

    ask: Ask
    seconds: float
    note: Mapping[str, Any] | None = None
    state: str = "settling"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _began_s: float = 0.0

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Look at the clock."""
        self._began_s = cell.t_s
        return [] if self.note is None else [Write(dict(self.note))]

    def reading(self, cell: Cell) -> Sequence[Out]:
        """See time pass."""
        self.share = min(1.0, (cell.t_s - self._began_s) / self.seconds)
        return self._over() if self.share >= 1.0 else []

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`next` cuts it short."""
        return self._over() if key == "next" else []

    def _over(self) -> Sequence[Out]:
        return [Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]


@dataclass(slots=True, kw_only=True)
class Confirm:
    """Something only the operator can say is done: the key `next`.

    Attributes:
        ask: What to do.
        note: Written when it is confirmed, or None.
    """

    ask: Ask
    note: Mapping[str, Any] | None = None
    state: str = "waiting"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the key."""
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """The cell says nothing about it."""
        return []

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`next` goes on."""
        if key != "next":
            return []
        note = [] if self.note is None else [Write(dict(self.note))]
        return [*note, Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]
