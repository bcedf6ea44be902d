"""The operator of a guided test: does what is asked, in a person's time, on the twin.

It hears the same asks that a person at the bench would read, takes as long as a person
takes to fetch a mass or to crank, and is as clumsy. What is asked for the first time of a
test that it knows by heart (a clamp hold test) it plays from the beginning to the end.
"""

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.guide import Ask
from tensionlog.twin import disturb
from tensionlog.twin.bench import Bench
from tensionlog.twin.cell import Cell
from tensionlog.twin.check import GRAVITY_M_S2, HUNG, handled, swinging
from tensionlog.twin.head import Hand, opens_nothing, steps
from tensionlog.twin.hold import played_hold
from tensionlog.twin.rng import Rng, stream
from tensionlog.twin.strings import DT_S, StringLaw, draw_string

Forces = NDArray[np.float64]

REACH_S: Final = {"hang": (3.0, 6.0), "empty": (1.5, 3.0), "scale": (3.0, 5.0)}
"""From the ask to the hand at the mass: fetch it, lift it (bench experience, no source)."""

MOUNT_S: Final = (18.0, 26.0)
"""Unhook the cell, bring it to the head, put a scrap string in."""

ANCHOR_S: Final = (14.0, 22.0)
PULL_S: Final = (1.5, 3.0)
OFF_S: Final = (0.5, 1.2)
RAMP_S: Final = {"slow": 2.0, "fast": 0.6}
_LONGEST_HOLD_S: Final = 40.0


@dataclass(slots=True, kw_only=True)
class Hands:
    """Does what is asked.

    Attributes:
        bench: Whose.
        rng: Stream of the hands.
        string: The scrap string.
        gravity_m_s2: Free fall at the workshop.
        in_place: Whether the cell is checked at the head; else it hangs elsewhere first.
        heavier: How many times heavier the plates are than they say.
        force_n: True force at the cell so far and as far as it is laid down, one value
            per step of the model.
        keys: What the operator says, with the moment: (bench time, key).
    """

    bench: Bench
    rng: Rng
    string: StringLaw
    gravity_m_s2: float = GRAVITY_M_S2
    in_place: bool = False
    heavier: float = 1.0
    force_n: Forces = field(default_factory=lambda: np.zeros(steps(1.0)))
    keys: list[tuple[float, str]] = field(default_factory=list)
    _base_n: float = 0.0
    _offset_n: float = 0.0
    _held: str | None = None

    @property
    def cell(self) -> Cell:
        """The cell where the check begins: at the head, or where the masses hang."""
        cell = self.bench.cell
        return cell if self.in_place else replace(cell, mounting_n=cell.hanging_n)

    def asked(self, ask: Ask, now_s: float) -> None:
        """Hear an ask at bench time `now_s`, and do it."""
        does = {
            "hang": self._hang,
            "empty": self._hang,
            "mount": self._mount,
            "hold-mount": self._anchor,
            "scale": self._scale,
            "dial": self._pull,
            "let-off": self._let_off,
        }.get(ask.words)
        if "clamp" in ask.values:
            if ask.values["clamp"] != self._held:
                self._hold(ask, now_s)
        elif does is not None:
            does(ask, now_s)

    def at(self, first: int, last: int) -> Forces:
        """Forces from step `first` to before `last`; what nobody did yet is nothing new."""
        missing = last - len(self.force_n)
        if missing > 0:
            self.force_n = np.concatenate([self.force_n, np.full(missing, self._base_n)])
        return self.force_n[first:last]

    def _hang(self, ask: Ask, now_s: float) -> None:
        mass_kg = float(ask.values.get("mass_kg", 0.0))
        load_n = mass_kg * self.gravity_m_s2 * HUNG * self.heavier
        from_n = self._now_n(now_s) - self._offset_n
        fumble_s = float(self.rng.uniform(1.0, 3.0))
        change = handled(self.rng, seconds=fumble_s, from_n=max(0.0, from_n), to_n=load_n)
        swing = swinging(self.rng, seconds=12.0, load_n=load_n)
        self._lay(now_s, REACH_S[ask.words], np.concatenate([change, swing]), rests_n=load_n)

    def _mount(self, ask: Ask, now_s: float) -> None:
        """Carry the cell to the head: knocks on the way, another empty reading there."""
        cell = self.bench.cell
        self._carry(now_s, MOUNT_S, cell.mounting_n - cell.hanging_n)

    def _anchor(self, ask: Ask, now_s: float) -> None:
        """Carry the cell to the anchor and put the clamp between."""
        self._carry(now_s, ANCHOR_S, self._offset_n + float(self.rng.normal(0.0, 1.0)))

    def _carry(self, now_s: float, takes_s: tuple[float, float], offset_n: float) -> None:
        seconds = float(self.rng.uniform(*takes_s))
        way = np.abs(self.rng.normal(0.0, 6.0, steps(seconds) // 200 + 2))
        moved = np.interp(np.arange(steps(seconds)) * DT_S, np.arange(len(way)) * 0.2, way)
        self._offset_n = 0.0 if self.in_place else offset_n
        self._lay(now_s, (0.5, 1.0), moved, rests_n=0.0)

    def _scale(self, ask: Ask, now_s: float) -> None:
        """Pull against the reference scale and read it aloud."""
        wanted_n = float(ask.values["wanted_n"]) * float(self.rng.uniform(0.97, 1.03))
        change = handled(self.rng, seconds=2.0, from_n=0.0, to_n=wanted_n)
        self._lay(now_s, REACH_S["scale"], change, rests_n=wanted_n)
        self.keys.append((now_s + 12.0, f"{wanted_n / 9.80665:.3f}"))

    def _pull(self, ask: Ask, now_s: float) -> None:
        ramp_s = RAMP_S.get(str(ask.values.get("speed")), 1.0)
        hand = Hand(
            set_n=float(ask.values["dial_n"]),
            ramp_s=ramp_s * float(self.rng.lognormal(0.0, 0.15)),
            dwell_s=_LONGEST_HOLD_S,
            after_s=0.1,
            opens=False,
        )
        trace = self.bench.head.pull(
            self.rng, string=self.string, hand=hand, opened=opens_nothing
        )
        self._lay(now_s, PULL_S, trace.force_n, rests_n=0.0)

    def _let_off(self, ask: Ask, now_s: float) -> None:
        start = self._step(now_s + float(self.rng.uniform(*OFF_S)))
        from_n = float(self.at(start, start + 1)[0]) - self._offset_n
        tail = disturb.let_off(self.rng, from_n=max(0.0, from_n))
        self._cut(start, tail, rests_n=0.0)

    def _hold(self, ask: Ask, now_s: float) -> None:
        """A hold test from its first pull to its last let-off, known by heart."""
        self._held = str(ask.values["clamp"])
        force = played_hold(
            self.bench,
            self.rng,
            string=self.string,
            clamp=self._held,
            target_n=float(ask.values["target_n"]),
            span_m=float(ask.values["span_m"]),
            observe_s=float(ask.values["watch_s"]) + 1.5,
            re_pull=bool(ask.values.get("re_pull", True)),
        )
        self._lay(now_s, (0.5, 1.0), force, rests_n=0.0)

    def _lay(
        self, now_s: float, reach_s: tuple[float, float], force: Forces, *, rests_n: float
    ) -> None:
        start = self._step(now_s + float(self.rng.uniform(*reach_s)))
        self._cut(start, force, rests_n=rests_n)

    def _cut(self, start: int, force: Forces, *, rests_n: float) -> None:
        """From `start` on it is another force, and then rest."""
        before = self.at(0, start)
        self._base_n = rests_n + self._offset_n
        self.force_n = np.concatenate([before, force + self._offset_n])

    def _now_n(self, now_s: float) -> float:
        at = self._step(now_s)
        return float(self.at(at, at + 1)[0])

    @staticmethod
    def _step(at_s: float) -> int:
        return max(1, round(at_s / DT_S))


def draw_hands(bench: Bench, *, seed: int, sport: str = "badminton", **more: Any) -> Hands:
    """Draw an operator and a scrap string.

    Args:
        bench: Whose.
        seed: Same seed, same hands.
        sport: Decides the string.
        more: Further attributes of `Hands`.
    """
    rng = stream(seed, "hands at a guided test")
    return Hands(bench=bench, rng=rng, string=draw_string(rng, sport=sport), **more)
