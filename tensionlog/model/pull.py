"""One pull of one string: what the trace shows, and what the plan makes of it."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FLAGS = (
    "early-clamp",
    "no-release",
    "interrupted",
    "gripper-slip",
    "straightened",
    "worked-twice",
    "not-measurable",
    "beyond-plan",
)


class Trace(NamedTuple):
    """The samples of one pull with some of the empty reading before and after.

    Attributes:
        boot: Which start of the device the times belong to, from 0.
        t_s: Device time since that boot's first sample, in seconds, shape (n,).
        counts: Raw readings (for the plain dialect: values), shape (n,).
    """

    boot: int
    t_s: NDArray[np.float64]
    counts: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One pull as it is answered, stored and drawn.

    Times are seconds from the recording's first sample on the device clock. Forces
    are newtons above the job's own zero, or counts above it where the recording has
    no calibration (`unit` says which). What is not known is None, never NaN.

    Attributes:
        kind: `pull` or `lift-off`.
        position: The string being pulled (`L1`, `R3`, `X12`), or None beyond the plan.
        held_position: The string behind, which the release tells about, or None.
        void: Whether it was redone or undone.
        target: What the ticket orders here.
        start_s: First sample of the lasting rise.
        top_s: First sample at or above 98 % of the settled level.
        release_s: When the force begins to fall as the clamp opens; None if not seen.
        let_off_s: The last sample before the head lets go.
        peak: Greatest reading, spikes left out.
        top: Settled reading just before the clamp is opened.
        at_3s: The fitted law three seconds after the top.
        expected: Target as this head, string and dwell would leave it at the release.
        release: The reading at clamp release.
        drop: Step at the release; None where there is none to look for or the rate
            is too low.
        drop_u: One standard uncertainty of `drop`.
        seen: Whether the step is told from zero.
        clamp_opened: Clamp that held the string behind, or None.
        clamp_shut: Clamp that took this string, or None.
        at_least_lost: Force that the held span had lost at least, newtons; None where
            no drop was seen.
        at_least_give_mm: The same as millimetres of string, or None.
        held: What the string held, after a lift-off.
        idle: The empty reading before this pull by the calibration in force.
        release_u: One standard uncertainty of `release`: noise and zero, not the
            calibration's.
        noise: Standard deviation of one sample in the hold.
        relaxation: Loss per decade of time as a share of the top, lockout only.
        flags: Subset of `FLAGS`.
    """

    kind: str
    unit: str
    position: str | None
    held_position: str | None
    void: bool
    target: float | None
    start_s: float
    top_s: float | None
    release_s: float | None
    let_off_s: float | None
    peak: float
    top: float | None
    at_3s: float | None
    expected: float | None
    release: float | None
    drop: float | None
    drop_u: float | None
    seen: bool
    clamp_opened: str | None
    clamp_shut: str | None
    at_least_lost: float | None
    at_least_give_mm: float | None
    held: float | None
    idle: float | None
    release_u: float | None
    noise: float | None
    relaxation: float | None
    flags: tuple[str, ...]

    @property
    def loss(self) -> float | None:
        """Target minus the reading at clamp release; negative is over target."""
        if self.target is None or self.release is None:
            return None
        return self.target - self.release

    @property
    def loss_pct(self) -> float | None:
        """The loss in per cent of the target."""
        loss = self.loss
        return None if loss is None or not self.target else 100.0 * loss / self.target
