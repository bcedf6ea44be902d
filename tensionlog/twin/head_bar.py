"""Gravity on a bar: a damped bounce, then flat; the force goes by the bar's angle."""

from dataclasses import dataclass, replace
from math import cos, pi, radians

import numpy as np

from tensionlog.twin.frame import Step
from tensionlog.twin.head import Hand, OpenClamp, Trace, every_step, steps, transit_shape
from tensionlog.twin.rng import Rng
from tensionlog.twin.strings import DT_S, StringLaw

_SUB = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class DropWeight:
    """A drop-weight head.

    Attributes:
        bounce_hz: Natural frequency of bar on string (0.5–1.2 Hz).
        damping: Damping ratio of the bounce.
        angle_sd_deg: How far from level the bar ends, standard deviation.
        sink_deg_per_n: How far the bar sinks while the string gives a newton.
        dial_error: Relative error of the weight's place on the bar.
    """

    bounce_hz: float = 0.8
    damping: float = 0.12
    angle_sd_deg: float = 4.0
    sink_deg_per_n: float = 0.12
    dial_error: float = 0.0
    name: str = "drop-weight"

    def dialled(self, dial_error: float) -> "DropWeight":
        """Return the head with another error of its dial."""
        return replace(self, dial_error=dial_error)

    def pull(self, rng: Rng, *, string: StringLaw, hand: Hand, opened: OpenClamp) -> Trace:
        """Lower the bar, lift it again where needed, let it swing out."""
        return _Swing(self, rng, string, hand, opened).trace()


class _Swing:
    """One pull in the making: bar and string as two coupled weights on a ladder."""

    def __init__(
        self, head: DropWeight, rng: Rng, string: StringLaw, hand: Hand, opened: OpenClamp
    ) -> None:
        self.head, self.rng, self.hand, self.opened = head, rng, hand, opened
        rungs = string.few_rungs()
        self.decay = [1.0 - DT_S * _SUB / t for t, _ in rungs]
        self.share = [w for _, w in rungs]
        self.springs = [0.0 for _ in rungs]
        self.firm = 1.0 - sum(self.share)
        self.stiff = self.speed = self.travel = 0.0
        self.level = radians(float(rng.normal(0.0, head.angle_sd_deg)))
        self.weight = hand.set_n * (1.0 + head.dial_error)
        self.omega = 2.0 * pi * head.bounce_hz
        self.force = [0.0]

    def trace(self) -> Trace:
        """Lifts, last lowering, hold, open, hold; the whole as a trace."""
        for _ in range(self.hand.lifts - 1):
            self._lower(float(self.rng.uniform(0.6, 0.95)), self.hand.ramp_s * 0.7)
            self._lower(float(self.rng.uniform(0.03, 0.3)), float(self.rng.uniform(0.3, 0.8)))
        self._lower(1.0, self.hand.ramp_s)
        top = len(self.force) - 1
        self.travel = 0.0
        self._swing(self.hand.dwell_s)
        before = self._balance_n()
        open_i, step = self._open() if self.hand.opens else (None, None)
        self._swing(self.hand.after_s)
        after = self._balance_n()
        force = every_step(self.force, _SUB)
        return Trace(force, top * _SUB, open_i, step, before, after, after)

    def _balance_n(self) -> float:
        """The force that the bar, at its present angle, would rest at."""
        return self.weight * cos(self.level + radians(self.head.sink_deg_per_n * self.travel))

    def _add(self, add: float, fall: float = 0.0) -> None:
        self.stiff += self.firm * add - fall
        total = self.stiff
        springs = self.springs
        for i, keep in enumerate(self.decay):
            springs[i] = springs[i] * keep + self.share[i] * add
            total += springs[i]
        self.force.append(total)

    def _lower(self, share: float, seconds: float) -> None:
        """Bring the force to `share` of the weight by hand, smoothly."""
        n = steps(seconds) // _SUB
        start = self.force[-1]
        goal = (
            share * self.weight * float(self.rng.uniform(0.86, 0.97) if share == 1.0 else 1.0)
        )
        x = np.arange(1, n + 1) / n
        path = start + (goal - start) * (0.5 - 0.5 * np.cos(np.pi * x))
        for wanted in path.tolist():
            self._add(wanted - self.force[-1])
        self.speed = 0.0

    def _swing(self, seconds: float) -> None:
        """Let the bar go: string against weight, with the damping of the pivot."""
        for _ in range(steps(seconds) // _SUB):
            self._swing_once(0.0)

    def _swing_once(self, fall: float) -> None:
        h = DT_S * _SUB
        pull = self._balance_n() - self.force[-1]
        drag = 2.0 * self.head.damping * self.omega * self.speed
        self.speed += (self.omega**2 * pull - drag) * h
        self.travel += self.speed * h
        self._add(self.speed * h, fall)

    def _open(self) -> tuple[int, Step]:
        at = (len(self.force) - 1) * _SUB
        step = self.opened(self.force[-1], at * DT_S)
        shape = transit_shape(self.hand.transit, self.hand.transit_s / _SUB)
        for part in np.diff(shape, prepend=0.0):
            self._swing_once(float(step.drop_n * part))
        return at, step
