"""A clamp hold test as steps of a guide: pull, let off, watch, pull again, let off again.

The cell is at the anchor and the clamp between cell and head, so the cell never sees the
head alone: the hand-off is a small fall under the clamp, not a return to nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from tensionlog.model.guide import Ask, Out, Took, Write
from tensionlog.pipeline.guide import Cell, Step
from tensionlog.pipeline.guide_steps import LetOff, Pull, Settle, Wait

HOLD_S: Final = 4.0
RE_PULL_S: Final = 5.0
"""Crank to the target again and hold; the rise is too small to end it by itself."""

AFTER_S: Final = 6.0
FALL: Final = 0.004
"""Share of the force by which a hand-off falls at least within half a second; relaxation
four seconds after the top falls by less than half of that."""

LEAST_FALL_N: Final = 0.6
PATIENCE_S: Final = 7.0
"""A clamp that gives nothing shows no fall: so long after the ask it must have happened."""


@dataclass(slots=True, kw_only=True)
class HandOff:
    """The clamp is shut and the head lets off; the cell at the anchor sees a small fall.

    Attributes:
        ask: What to do.
        note: Written when it falls, or None.
    """

    ask: Ask
    note: Mapping[str, Any] | None = None
    state: str = "settling"
    share: float | None = None
    again_note: Mapping[str, Any] | None = None
    _began_s: float = 0.0
    _t_s: list[float] = field(default_factory=list)
    _readings: list[float] = field(default_factory=list)

    def begin(self, cell: Cell) -> Sequence[Out]:
        """Begin to watch."""
        self._began_s, self._t_s, self._readings = cell.t_s, [], []
        return []

    def reading(self, cell: Cell) -> Sequence[Out]:
        """See the fall, or take it for granted after a while."""
        self._t_s.append(cell.t_s)
        self._readings.append(cell.reading)
        waited_s = cell.t_s - self._began_s
        if waited_s >= PATIENCE_S:
            return self._over(ago_s=0.8 * PATIENCE_S)
        recent = [(t, x) for t, x in zip(self._t_s, self._readings, strict=True)][-400:]
        late = [x for t, x in recent if t > cell.t_s - 0.15]
        early = [x for t, x in recent if cell.t_s - 0.8 < t <= cell.t_s - 0.5]
        if len(late) < 3 or len(early) < 3:
            return []
        fell = float(np.median(early) - np.median(late))
        limit = max(LEAST_FALL_N, FALL * abs(float(np.median(early)) - (cell.zero or 0.0)))
        return self._over(ago_s=0.3) if fell > limit else []

    def key(self, key: str, cell: Cell) -> Sequence[Out]:
        """`next` says that it has just happened."""
        return self._over(ago_s=0.5) if key == "next" else []

    def _over(self, *, ago_s: float) -> list[Out]:
        note = [] if self.note is None else [Write(dict(self.note), ago_s=ago_s)]
        return [*note, Took(step=self.ask.step, words=self.ask.words, values=self.ask.values)]


def hold_steps(
    *,
    clamp: str,
    target_n: float,
    span_m: float,
    watch_s: float = 20.0,
    ea_n: float | None = None,
    u_ea_pct: float | None = None,
    mount_s: float | None = None,
    re_pull: bool = True,
) -> list[Step]:
    """Steps of one hold test.

    Args:
        clamp: Which clamp.
        target_n: Force of the test, newtons.
        span_m: From the anchor to the clamp.
        watch_s: How long the clamp is watched alone.
        ea_n: Stiffness of the string, newtons per unit strain, or None.
        u_ea_pct: Its standard uncertainty, per cent, or None.
        mount_s: Bench time to bring the cell to the anchor and the clamp between, or None
            where that is done already.
        re_pull: Whether the head pulls again, which parts flex from slip.
    """
    values = {"clamp": clamp, "target_n": target_n, "span_m": span_m, "watch_s": watch_s}
    values |= {"re_pull": re_pull}
    start: dict[str, Any] = {"note": "hold-start", "clamp": clamp, "target_N": target_n}
    start |= {"span_m": span_m}
    start |= {k: v for k, v in (("EA_N", ea_n), ("u_EA_pct", u_ea_pct)) if v is not None}

    def ask(step: str, ends: str, lasts_s: float) -> Ask:
        return Ask(
            step=f"hold-{clamp}-{step}",
            words=f"hold-{step}",
            values=values,
            ends=ends,
            force_n=target_n,
            lasts_s=lasts_s,
        )

    mount = Ask(
        step=f"hold-{clamp}-mount",
        words="hold-mount",
        values={"name": clamp},
        force_n=0.0,
        lasts_s=mount_s or 0.0,
    )
    mounted: list[Step] = [Settle(ask=mount, rezero=True, patience_s=90.0)] if mount_s else []
    again: list[Step] = [
        Wait(ask=ask("again", "time", RE_PULL_S), seconds=RE_PULL_S, note={"note": "re-pull"}),
        HandOff(ask=ask("off-again", "let-off", 2.0)),
        Wait(ask=ask("last", "time", AFTER_S), seconds=AFTER_S),
    ]
    return [
        *mounted,
        Pull(ask=ask("pull", "pull", 9.0), note=start, hold_s=HOLD_S, again_note=None),
        HandOff(ask=ask("off", "let-off", 2.0), note={"note": "hand-off"}),
        Wait(ask=ask("watch", "time", watch_s), seconds=watch_s),
        *(again if re_pull else ()),
        LetOff(ask=ask("open", "let-off", 3.0), first={"note": "hold-end"}),
    ]
