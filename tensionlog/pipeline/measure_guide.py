"""The turn test and the stiffness test as guides."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from tensionlog.check.setup import CheckSetup
from tensionlog.errors import CalibrationError
from tensionlog.model.guide import Ask, Out, Took, Write
from tensionlog.pipeline.guide import Cell, Guide, Step
from tensionlog.pipeline.guide_steps import Leaving, LetOff, Pull, Settle, Wait
from tensionlog.pipeline.hold_guide import HandOff

if TYPE_CHECKING:
    from tensionlog.check.head import HeadResult

STILL_S: Final = 5.0
TAP_S: Final = 5.0
WRAP_DEG: Final = 180.0
TURNS: Final = 2
PITCH_MM: Final = 1.0
"""A turn of an M6 screw."""

AFTER_MOVE_S: Final = 7.0
"""From the first movement: the turning and a few seconds of rest."""

MOVED_N: Final = 1.0


@dataclass(slots=True, kw_only=True)
class Move:
    """The anchor is moved by a known length; seen as the force leaves its level.

    Attributes:
        ask: What to do.
        note: Written when the force begins to change.
    """

    ask: Ask
    note: Mapping[str, Any]
    state: str = "waiting"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _leaving: Leaving = field(default_factory=lambda: Leaving(0.0, MOVED_N))
    _left_s: float | None = None

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Wait for the first turn."""
        self.state, self._left_s = "waiting", None
        self._leaving = Leaving(cell.reading, MOVED_N)
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """See it move, and come to rest."""
        if self._left_s is None:
            self._left_s = self._leaving.push(cell.t_s, cell.reading)
            if self._left_s is None:
                return []
            self.state = "settling"
            return [Write(dict(self.note), ago_s=cell.t_s - self._left_s)]
        self.share = min(1.0, (cell.t_s - self._left_s) / AFTER_MOVE_S)
        if self.share < 1.0:
            return []
        return [Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """Nothing but the screw moves it."""
        return []


def turn_guide(setup: CheckSetup, head: "HeadResult | None") -> Guide:
    """What passes round one turn of a frame, still and tapped.

    Args:
        setup: Of the bench; the middle one of its weekly dial settings is used.
        head: The latest head check, which says what the head then pulls.

    Raises:
        CalibrationError: No head check says what the head pulls.
    """
    if head is None:
        raise CalibrationError(
            "a turn test needs to know what the head pulls. Make the head's part first: "
            "'tensionlog check --part head'."
        )
    dials_n = sorted(setup.weekly_dials_n)
    dial_n = dials_n[len(dials_n) // 2]
    start = {"note": "turn-start", "head_N": round(head.peak.pull_n(dial_n), 2)}
    values = {"dial_n": dial_n}
    passes_n = 0.5 * dial_n  # friction lets a third to nine tenths through
    return Guide(
        [
            _mount("turn-mount"),
            Pull(
                ask=_ask("turn-pull", "pull", 9.0, values, passes_n),
                note={**start, "wrap_deg": WRAP_DEG},
                hold_s=STILL_S,
                again_note=None,
            ),
            Wait(ask=_ask("turn-tap", "time", TAP_S), seconds=TAP_S),
            LetOff(ask=_ask("let-off", "let-off", 3.0), first={"note": "turn-end"}),
        ],
        done="turn-done",
    )


def stiffness_guide(setup: CheckSetup) -> Guide:
    """How stiff string, cell, anchor and clamp are together: two turns in, two turns out.

    Raises:
        CalibrationError: The set-up names no force for it.
    """
    if setup.hold_target_n is None:
        raise CalibrationError(
            "a stiffness test needs the force of the hold test. Name it once: 'tensionlog "
            "bench check --hold-target …'."
        )
    clamp = setup.clamps[0]
    values = {"clamp": clamp, "target_n": setup.hold_target_n}
    start = {"note": "stiff-start", "span_m": setup.hold_span_m}
    steps: list[Step] = [
        _mount("stiff-mount", {"clamp": clamp}),
        Pull(
            ask=_ask("stiff-pull", "pull", 8.0, values, setup.hold_target_n),
            note=start,
            hold_s=3.0,
            again_note=None,
        ),
        HandOff(ask=_ask("hold-off", "let-off", 2.0, values)),
        Wait(ask=_ask("stiff-still", "time", STILL_S), seconds=STILL_S),
    ]
    for turns, way in ((TURNS, "tighter"), (-TURNS, "back")):
        moved = {"turns": abs(turns), "way": way, "moved_mm": turns * PITCH_MM}
        note = {"note": "step", "moved_mm": turns * PITCH_MM}
        ask = _ask("stiff-move", "steady", 10.0, moved, step=f"stiff-{way}")
        steps.append(Move(ask=ask, note=note))
    off = _ask("hold-open", "let-off", 3.0, {"clamp": clamp})
    steps.append(LetOff(ask=off, first={"note": "stiff-end"}))
    return Guide(steps, done="stiff-done")


def _mount(words: str, values: Mapping[str, Any] | None = None) -> Settle:
    ask = _ask(words, "steady", 30.0, values, 0.0)
    return Settle(ask=ask, rezero=True, patience_s=90.0)


def _ask(
    words: str,
    ends: str,
    lasts_s: float,
    values: Mapping[str, Any] | None = None,
    force_n: float | None = None,
    *,
    step: str | None = None,
) -> Ask:
    return Ask(
        step=step or words,
        words=words,
        values=values or {},
        ends=ends,
        force_n=force_n,
        lasts_s=lasts_s,
    )
