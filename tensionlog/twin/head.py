"""What the three tension heads have in common: the hand that works them, the trace left.

A head never sees the plan. It is told how the hand moves, and it is handed a function
that lets the string behind meet the head's side at the moment the clamp is opened.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.frame import Step
from tensionlog.twin.rng import Rng
from tensionlog.twin.strings import DT_S, StringLaw

HEAD_NAMES = ("lockout", "constant-pull", "drop-weight")
TRANSITS = ("cosine", "straight", "early", "two-stage")
"""Shapes in which the force falls as a clamp opens."""

OpenClamp = Callable[[float, float], Step]
"""(force on the head's side in N, seconds since the rise began) → what opening does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """How the stringer works one pull.

    Attributes:
        set_n: What the head is set to.
        ramp_s: How long the cranking, pulling or lowering takes.
        dwell_s: From the top until the clamp behind is opened.
        after_s: From there until the head begins to let off.
        opens: Whether a clamp is opened at all.
        transit_s: How long the force takes to fall as the clamp opens.
        transit: One of `TRANSITS`.
        again_s: Second crank so long after the top (lockout), or None.
        lifts: Lifts of the bar (drop weight).
        prestretch: Share by which a motor head pulls over first.
        grip_slip: Share of the force lost to the gripper, 0 for none.
        slip_in_hold: Whether the gripper slips in the hold rather than in the rise.
        straighten_at_s: When a cross is straightened, after the top, or None.
        straighten_s: How long that takes.
        straighten_n: What it takes off for good where nothing keeps pulling.
    """

    set_n: float
    ramp_s: float
    dwell_s: float
    after_s: float
    opens: bool
    transit_s: float = 0.015
    transit: str = "cosine"
    again_s: float | None = None
    lifts: int = 1
    prestretch: float = 0.0
    grip_slip: float = 0.0
    slip_in_hold: bool = False
    straighten_at_s: float | None = None
    straighten_s: float = 0.4
    straighten_n: float = 0.0


class Trace(NamedTuple):
    """Force at the head's side from the first rise to the let-off, one value per `DT_S`.

    Attributes:
        force_n: Shape (n,).
        top_i: Index at which the ramp ends.
        open_i: Index at which the clamp behind begins to open, or None.
        step: What its opening did, or None.
        before_n: Settled force just before the opening; with none, at the end.
        after_n: Settled force once it is open; with none, at the end.
        at_3s_n: What head and string alone give 3 s after the top.
    """

    force_n: NDArray[np.float64]
    top_i: int
    open_i: int | None
    step: Step | None
    before_n: float
    after_n: float
    at_3s_n: float


class Head(Protocol):
    """A tension head."""

    @property
    def name(self) -> str:
        """One of `HEAD_NAMES`."""

    @property
    def dial_error(self) -> float:
        """Relative error of the dial; positive pulls more than it says."""

    def dialled(self, dial_error: float) -> "Head":
        """Return the head with another error of its dial."""

    def pull(self, rng: Rng, *, string: StringLaw, hand: Hand, opened: OpenClamp) -> Trace:
        """Make one pull."""


def opens_nothing(head_n: float, after_s: float) -> Step:
    """Stand in for a clamp where the hand opens none; a bug if it is ever called."""
    raise ValueError(f"no clamp is to be opened here, not at {head_n!r} N after {after_s!r} s")


def steps(seconds: float) -> int:
    """Number of model steps in `seconds`, at least one."""
    return max(1, round(seconds / DT_S))


def transit_shape(kind: str, seconds: float) -> NDArray[np.float64]:
    """Rise from above 0 to 1 in which a release takes place, shape (n,)."""
    x = np.arange(1, steps(seconds) + 1) / steps(seconds)
    if kind == "straight":
        return np.asarray(x)
    if kind == "early":
        return np.asarray(1.0 - (1.0 - x) ** 2.5)
    if kind == "two-stage":
        return np.asarray(0.65 * np.minimum(1.0, 3.0 * x) + 0.35 * np.clip(3.0 * x - 2.0, 0, 1))
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * x))


def step_down(n: int, at_i: int, kind: str, seconds: float) -> NDArray[np.float64]:
    """0 before `at_i`, then the transit, then 1; shape (n,)."""
    rise = transit_shape(kind, seconds)
    out = np.zeros(n)
    out[at_i : at_i + len(rise)] = rise[: max(0, n - at_i)]
    out[at_i + len(rise) :] = 1.0
    return out


def every_step(coarse: Sequence[float], fold: int) -> NDArray[np.float64]:
    """Fill in a force that was integrated every `fold` model steps."""
    n = len(coarse)
    fine = np.arange((n - 1) * fold) / fold
    return np.asarray(np.interp(fine, np.arange(n), np.asarray(coarse)))


def ramp_shape(rng: Rng, *, seconds: float, stiffening: float) -> NDArray[np.float64]:
    """Rise from 0 to 1 under an unsteady hand, shape (n,)."""
    n = steps(seconds)
    x = np.arange(1, n + 1) / n
    wobble = float(rng.uniform(0.0, 0.35)) * np.sin(
        2 * np.pi * (x * float(rng.uniform(1.0, 3.0)) + float(rng.random()))
    )
    speed = np.maximum(0.05, np.minimum(1.0, 8.0 * x) * (1.0 + wobble))
    path = np.cumsum(speed)
    return np.asarray((path / path[-1]) ** stiffening)
