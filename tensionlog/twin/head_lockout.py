"""A crank that trips at the set tension and locks; the string then relaxes."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.head import Hand, OpenClamp, Trace, ramp_shape, step_down, steps
from tensionlog.twin.rng import Rng
from tensionlog.twin.strings import DT_S, StringLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class Lockout:
    """A lockout head.

    Attributes:
        spring_back: Mean share lost as the brake takes over (1–3 %).
        trip_scatter: Relative standard deviation of the trip.
        dial_error: Relative error of the dial; positive pulls more than it says.
        speed_effect: Relative gain of the trip per ln of cranking speed.
    """

    spring_back: float = 0.02
    trip_scatter: float = 0.004
    dial_error: float = 0.0
    speed_effect: float = 0.006
    name: str = "lockout"

    def dialled(self, dial_error: float) -> "Lockout":
        """Return the head with another error of its dial."""
        return replace(self, dial_error=dial_error)

    def pull(self, rng: Rng, *, string: StringLaw, hand: Hand, opened: OpenClamp) -> Trace:
        """Crank, trip, lock and hold."""
        ramp = ramp_shape(rng, seconds=hand.ramp_s, stiffening=string.stiffening)
        top = len(ramp) - 1
        n = len(ramp) + steps(hand.dwell_s + hand.after_s)
        stretch = self._stretch(rng, ramp, n)
        trip = self._trip_n(rng, hand)
        force = string.respond(stretch)
        scale = trip / force[top]
        stretch *= scale
        force *= scale
        force = _straightened(_slipped(force, hand, top), hand, top)
        if hand.again_s is not None:
            force = self._again(rng, string, force, stretch, trip, top + steps(hand.again_s))
        return _released(force, string, hand, opened, top)

    def _trip_n(self, rng: Rng, hand: Hand) -> float:
        speed = 1.0 + self.speed_effect * float(np.log(1.0 / hand.ramp_s))
        error = 1.0 + self.dial_error + self.trip_scatter * float(rng.standard_normal())
        return hand.set_n * speed * error

    def _stretch(self, rng: Rng, ramp: NDArray[np.float64], n: int) -> NDArray[np.float64]:
        """Steps of stretch, the whole ramp adding up to 1, the spring-back taken off."""
        stretch = np.zeros(n)
        stretch[: len(ramp)] = np.diff(ramp, prepend=0.0)
        back = self.spring_back * float(rng.uniform(0.7, 1.3))
        width = steps(float(rng.uniform(0.02, 0.08)))
        at = len(ramp) + steps(float(rng.uniform(0.002, 0.03)))
        stop = min(n, at + width)
        stretch[at:stop] -= back / width
        return stretch

    def _again(
        self,
        rng: Rng,
        string: StringLaw,
        force: NDArray[np.float64],
        stretch: NDArray[np.float64],
        trip: float,
        at: int,
    ) -> NDArray[np.float64]:
        """Crank to the trip once more, from what the string has relaxed to."""
        n = len(force)
        if at >= n - 10:
            return force
        ramp = ramp_shape(rng, seconds=float(rng.uniform(0.15, 0.4)), stiffening=1.0)
        missing = max(
            0.0, trip * float(rng.normal(1.0, 0.002)) - force[min(n - 1, at + len(ramp))]
        )
        more = np.zeros(n)
        stop = min(n, at + len(ramp))
        more[at:stop] = missing * np.diff(ramp, prepend=0.0)[: stop - at]
        more[stop : stop + 40] -= trip * self.spring_back / 40.0
        return force + string.respond(more)


def _slipped(force: NDArray[np.float64], hand: Hand, top: int) -> NDArray[np.float64]:
    """Let the gripper slip: in the rise it is made good by the trip, in the hold it stays."""
    if not hand.grip_slip:
        return force
    n = len(force)
    if hand.slip_in_hold:
        at = top + steps(0.4 * hand.dwell_s)
        gone = float(force[at]) * hand.grip_slip
        return force - gone * step_down(n, at, "early", 0.04)
    at = top // 2
    gap = force[at] * hand.grip_slip * step_down(n, at, "early", 0.03)
    made_good = np.clip((top - np.arange(n)) / max(1, top - at), 0.0, 1.0)
    return np.asarray(force - gap * made_good)


def _straightened(force: NDArray[np.float64], hand: Hand, top: int) -> NDArray[np.float64]:
    if hand.straighten_at_s is None:
        return force
    at = top + steps(hand.straighten_at_s)
    return force - hand.straighten_n * step_down(len(force), at, "cosine", hand.straighten_s)


def _released(
    force: NDArray[np.float64], string: StringLaw, hand: Hand, opened: OpenClamp, top: int
) -> Trace:
    three = min(top + steps(3.0), len(force) - 1)
    gone = float(string.left(3.0) / string.left((three - top) * DT_S))
    at_3s = float(force[three]) * gone
    if not hand.opens:
        end = float(force[-1])
        return Trace(force, top, None, None, end, end, at_3s)
    at = min(top + steps(hand.dwell_s), len(force) - 1)
    before = float(force[at])
    step = opened(before, at * DT_S)
    # No superposition here: what one side of the joined span recovers the other gives back.
    fall = step.drop_n * step_down(len(force), at, hand.transit, hand.transit_s)
    force = force - fall
    after = float(force[min(len(force) - 1, at + steps(hand.transit_s))])
    return Trace(force, top, at, step, before, after, at_3s)
