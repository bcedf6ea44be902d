"""A motor that keeps pulling: integrated in time, sensor, motor, dead band and all."""

from dataclasses import dataclass, replace

import numpy as np

from tensionlog.twin.frame import Step
from tensionlog.twin.head import Hand, OpenClamp, Trace, every_step, steps, transit_shape
from tensionlog.twin.rng import Rng
from tensionlog.twin.strings import DT_S, StringLaw

_SUB = 2
"""Model steps per step of the integration: the motor needs no finer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantPull:
    """A constant-pull head.

    Attributes:
        band_n: The motor rests while the error is smaller.
        stop_n: A moving motor stops so much short of the goal.
        time_constant_s: Of the loop as it makes a disturbance good.
        slowest_n_per_s: A moving motor is never slower: below that it would stall.
        sensor_s: Lag of its own force sensor.
        motor_s: Lag of the motor's speed.
        sensor_noise_n: Noise of its own sensor.
        dial_error: Relative error of the dial.
        back_drag: How far the held span, dragged along once it has moved, softens the
            string for the recovering motor: 0 not at all, 1 as friction has it.
    """

    band_n: float = 0.8
    stop_n: float = 0.1
    time_constant_s: float = 0.2
    slowest_n_per_s: float = 2.0
    sensor_s: float = 0.02
    motor_s: float = 0.02
    sensor_noise_n: float = 0.02
    dial_error: float = 0.0
    back_drag: float = 0.0
    name: str = "constant-pull"

    def dialled(self, dial_error: float) -> "ConstantPull":
        """Return the head with another error of its dial."""
        return replace(self, dial_error=dial_error)

    def pull(self, rng: Rng, *, string: StringLaw, hand: Hand, opened: OpenClamp) -> Trace:
        """Run to the set force, then keep it."""
        run = _Run(head=self, rng=rng, string=string, hand=hand, opened=opened)
        return run.trace()


class _Run:
    """One pull in the making: the state of string, sensor and motor."""

    def __init__(
        self, *, head: ConstantPull, rng: Rng, string: StringLaw, hand: Hand, opened: OpenClamp
    ) -> None:
        self.head, self.hand, self.opened = head, hand, opened
        rungs = string.few_rungs()
        self.decay = [1.0 - DT_S * _SUB / t for t, _ in rungs]
        self.share = [w for _, w in rungs]
        self.springs = [0.0 for _ in rungs]
        self.stiff = 0.0
        self.firm = 1.0 - sum(self.share)
        self.sensed = self.speed = 0.0
        self.stiffness = 1.0
        self.force = [0.0]
        self.direction = 1.0
        self.dial_n = hand.set_n * (1.0 + head.dial_error)
        whole = hand.ramp_s + hand.dwell_s + hand.after_s + 3.0
        count = steps(whole) // _SUB + 2
        self.noise = (rng.standard_normal(count) * head.sensor_noise_n).tolist()
        self.fast = self.dial_n / hand.ramp_s * float(rng.uniform(0.95, 1.05))

    def trace(self) -> Trace:
        """Rise, hold, open, hold; the whole as a trace."""
        goal = self.dial_n * (1.0 + self.hand.prestretch)
        self._rise(goal)
        top = len(self.force) - 1
        if self.hand.prestretch:
            self._keep(goal, 0.6)
        self._keep(self.dial_n, self.hand.dwell_s)
        before = self._recent_n(top)
        open_i, step = self._open() if self.hand.opens else (None, None)
        self._keep(self.dial_n, self.hand.after_s)
        after = self._recent_n(top if open_i is None else open_i // _SUB)
        before = after if open_i is None else before
        force = every_step(self.force, _SUB)
        return Trace(force, top * _SUB, open_i, step, before, after, before)

    def _recent_n(self, since: int) -> float:
        """Middle of the last half second's forces, none older than index `since`."""
        begin = max(since, len(self.force) - steps(0.5) // _SUB)
        return float(np.median(self.force[begin:]))

    def _advance(self, command: float, fall: float = 0.0) -> None:
        """Move one step on with the motor told to add `command` newtons a second."""
        h = DT_S * _SUB
        self.speed += (command - self.speed) * h / self.head.motor_s
        add = self.speed * h * self.stiffness
        self.stiff += self.firm * add - fall
        total = self.stiff
        springs = self.springs
        for i, keep in enumerate(self.decay):
            springs[i] = springs[i] * keep + self.share[i] * add
            total += springs[i]
        self.force.append(total)
        seen = total + self.noise[len(self.force) % len(self.noise)]
        self.sensed += (seen - self.sensed) * h / self.head.sensor_s

    def _rise(self, goal: float) -> None:
        slip_at = 0.5 * goal if self.hand.grip_slip and not self.hand.slip_in_hold else None
        for _ in range(len(self.noise)):
            if self.sensed >= goal:
                break
            # A soft start: the motor needs a moment, and slack string offers no force.
            self._advance(self.fast * min(1.0, 0.15 + 12.0 * self.sensed / goal))
            if slip_at is not None and self.sensed >= slip_at:
                self._lose(self.hand.grip_slip)
                slip_at = None

    def _lose(self, share: float) -> None:
        """Let the gripper slip: that share of the force is gone in 30 ms."""
        gone = self.force[-1] * share
        for part in np.diff(transit_shape("early", 0.03 / _SUB), prepend=0.0):
            self._advance(0.0, float(gone * part))

    def _keep(self, goal: float, seconds: float) -> None:
        """Hold `goal` by the dead band's rule."""
        slip_at = steps(0.4 * seconds) // _SUB if self.hand.slip_in_hold else -1
        for i in range(steps(seconds) // _SUB):
            self._advance(self._command(goal))
            if i == slip_at and self.hand.grip_slip:
                self._lose(self.hand.grip_slip)
                self.hand = replace(self.hand, grip_slip=0.0)

    def _command(self, goal: float) -> float:
        """What the dead band's rule tells the motor, in newtons a second."""
        head, error = self.head, goal - self.sensed
        if abs(error) > head.band_n:
            self.direction = 1.0 if error > 0.0 else -1.0
        elif error * self.direction < head.stop_n:
            self.direction = 0.0
        speed = max(head.slowest_n_per_s, min(self.fast, abs(error) / head.time_constant_s))
        return self.direction * speed

    def _open(self) -> tuple[int, Step]:
        at = (len(self.force) - 1) * _SUB
        step = self.opened(self.force[-1], at * DT_S)
        fall = np.diff(
            transit_shape(self.hand.transit, self.hand.transit_s / _SUB), prepend=0.0
        )
        for part in fall:
            self._advance(self._command(self.dial_n), float(step.drop_n * part))
        self.stiffness = 1.0 - self.head.back_drag * (1.0 - step.stiffness_left)
        return at, step
