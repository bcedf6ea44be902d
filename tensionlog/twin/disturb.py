"""What hands do to a reading: pushes, plucks, tugs, knocks, slack taken up."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.head import Hand, Trace, steps
from tensionlog.twin.rng import Rng, chance
from tensionlog.twin.stringer import Stringer
from tensionlog.twin.strings import DT_S

Forces = NDArray[np.float64]


def hump(seconds: float) -> Forces:
    """A smooth bump of height 1, shape (n,)."""
    n = steps(seconds)
    return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n) + 0.5) / n))


def add(force: Forces, at: int, extra: Forces) -> None:
    """Add `extra` to `force` from index `at` on, as far as it reaches."""
    if at < 0:
        at, extra = 0, extra[-at:]
    stop = min(len(force), at + len(extra))
    if stop > at:
        force[at:stop] += extra[: stop - at]


def pluck(rng: Rng) -> Forces:
    """A plucked string pulls a little harder while it sounds."""
    x = np.arange(steps(0.4)) * DT_S
    height = float(rng.uniform(0.5, 4.0))
    return np.asarray(height * np.minimum(1.0, x / 0.008) * np.exp(-x / rng.uniform(0.03, 0.1)))


def tug(rng: Rng) -> Forces:
    """A try at the gripper that comes back to zero."""
    rise, hold = steps(float(rng.uniform(0.08, 0.3))), steps(float(rng.uniform(0.05, 0.5)))
    up = 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    shape = np.concatenate([up, np.ones(hold), up[::-1]])
    return np.asarray(float(rng.uniform(3.0, 25.0)) * shape)


def knock(rng: Rng) -> Forces:
    """Something hits the machine: a few swings, gone in a tenth of a second."""
    x = np.arange(steps(0.25)) * DT_S
    height = float(rng.uniform(2.0, 30.0)) * (1.0 if chance(rng, 0.5) else -1.0)
    ring = np.sin(2 * np.pi * float(rng.uniform(12.0, 45.0)) * x)
    return np.asarray(height * ring * np.exp(-x / rng.uniform(0.01, 0.05)))


def shut_push(rng: Rng, *, greatest_n: float) -> tuple[int, Forces]:
    """The clamp is pushed on: (steps before the let-off at which it begins, the push)."""
    lead = steps(float(rng.uniform(0.08, 0.2)))
    rise = np.minimum(1.0, np.arange(lead) / steps(0.03))
    push = float(rng.uniform(-0.3, 1.0)) * greatest_n
    return lead, np.asarray(push * rise)


def worked(rng: Rng, *, stringer: Stringer, hand: Hand, trace: Trace) -> tuple[Forces, bool]:
    """The trace with the hand's disturbances in the hold, and whether it was plucked."""
    force = trace.force_n.copy()
    top, end = trace.top_i, len(force)
    if hand.straighten_at_s is not None:
        _straightening(rng, force, top + steps(hand.straighten_at_s), steps(hand.straighten_s))
    if trace.open_i is not None:
        _jolt(rng, force, trace.open_i)
    plucked = chance(rng, stringer.plucks) and end - top > steps(0.8)
    if plucked:
        add(force, int(rng.integers(top + steps(0.2), end - steps(0.4))), pluck(rng))
    return force, plucked


def _straightening(rng: Rng, force: Forces, at: int, n: int) -> None:
    for _ in range(int(rng.integers(1, 4))):
        start = at + int(rng.integers(0, max(1, n // 2)))
        height = float(rng.uniform(-2.0, 6.0))
        add(force, start, height * hump(0.5 * n * DT_S))


def _jolt(rng: Rng, force: Forces, at: int) -> None:
    """The lever that opens the clamp shakes the string a little."""
    x = np.arange(steps(0.08)) * DT_S
    height = float(rng.uniform(0.0, 0.4))
    ring = np.sin(2 * np.pi * float(rng.uniform(25.0, 60.0)) * x) * np.exp(-x / 0.02)
    add(force, at, np.asarray(height * ring))


def let_off(rng: Rng, *, from_n: float) -> Forces:
    """The head lets off: down to nothing, the gripper swinging a little."""
    seconds = float(rng.uniform(0.06, 0.35))
    x = np.arange(1, steps(seconds) + 1) / steps(seconds)
    fall = from_n * (1.0 - x ** float(rng.uniform(0.7, 2.0)))
    t = np.arange(steps(1.0)) * DT_S
    swing = float(rng.uniform(0.0, 0.4)) * np.sin(2 * np.pi * 4.0 * t) * np.exp(-t / 0.2)
    return np.concatenate([fall, swing])


def snap(rng: Rng, *, from_n: float) -> Forces:
    """The string breaks: everything is gone in a few milliseconds."""
    t = np.arange(steps(0.5)) * DT_S
    swing = float(rng.uniform(1.0, 6.0)) * np.sin(2 * np.pi * 9.0 * t) * np.exp(-t / 0.08)
    return np.asarray(from_n * np.exp(-t / 0.002) + swing)


def slack(rng: Rng, *, force: Forces) -> tuple[int, Forces]:
    """Take the slack up by hand first: (steps it begins earlier, the longer force)."""
    lead = steps(float(rng.uniform(0.3, 1.2)))
    level = float(rng.uniform(1.0, 7.0))
    before = level * np.minimum(1.0, np.arange(lead) / (0.3 * lead))
    rise_i = int(np.argmax(force > level))
    return lead, np.concatenate([before, np.full(rise_i, level), force[rise_i:]])
