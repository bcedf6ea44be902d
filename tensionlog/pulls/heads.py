"""One reader per kind of tension head, behind one door: learn from a job, read a hold."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from tensionlog.pulls.constant_pull import (
    LOWEST_RATE_HZ,
    Motor,
    learn_motor,
    read_constant_pull,
)
from tensionlog.pulls.drop_weight import Bar, learn_bar, read_drop_weight
from tensionlog.pulls.hold import Hold, Law
from tensionlog.pulls.lockout import read_lockout
from tensionlog.pulls.manners import Manners, manners_of
from tensionlog.pulls.shape import Shape

LEAST_U_LN_TAU = 0.2
LEAST_U_SHARE = 0.006
"""However well a job's holds agree, each may differ from their median by this much: held
tighter, an error of the median itself would push every step of the job to one side."""

MOST_HOLDS = 20
"""Holds that a law is learned from: more of them tell nothing new."""

LEAST_HOLDS = 4
"""Fewer holds than this teach nothing that one hold could not say itself."""


class HeadReader(Protocol):
    """Reads the holds of one kind of head."""

    @property
    def relaxes(self) -> bool:
        """Whether the string relaxes under this head, so that the reading falls."""

    @property
    def law(self) -> Law | None:
        """The job's relaxation as far as this head shows it, or None."""

    def manners(self, shape: Shape) -> Manners:
        """How the pull was made, as a trace of this head shows it."""

    def learn(self, pulls: Sequence[tuple[Shape, Manners]], *, walk: float) -> None:
        """Take from a job's holds what they have in common."""

    def read(
        self, shape: Shape, *, manners: Manners, walk: float, release_at: float | None = None
    ) -> Hold | None:
        """Read one hold with what is known; None where it is too short."""

    def too_slow(self, shape: Shape) -> bool:
        """Whether this sample rate cannot show a release on this head."""


def reader_for(head: str | None) -> HeadReader:
    """The reader for a `Header.head`; without one the head is taken for a lockout."""
    if head == "constant-pull":
        return _MotorReader()
    if head == "drop-weight":
        return _BarReader()
    return _LockoutReader()


class _LockoutReader:
    relaxes = True

    def __init__(self) -> None:
        self._law = Law()
        self._learned = False

    @property
    def law(self) -> Law | None:
        return self._law if self._learned else None

    def manners(self, shape: Shape) -> Manners:
        return manners_of(shape, relaxes=True)

    def learn(self, pulls: Sequence[tuple[Shape, Manners]], *, walk: float) -> None:
        open_law = Law(u_ln_tau=1.2)
        some = pulls[:: -(-len(pulls) // MOST_HOLDS)] if pulls else []
        holds = [
            read_lockout(shape, law=open_law, walk=walk, manners=manners)
            for shape, manners in some
        ]
        told = [h for h in holds if h is not None and h.misfit < 2.0 and h.share is not None]
        if len(told) < LEAST_HOLDS:
            return
        ln_tau = np.log([h.tau_s for h in told if h.tau_s is not None])
        share = np.array([h.share for h in told if h.share is not None])
        self._law = Law(
            tau_s=float(np.exp(np.median(ln_tau))),
            u_ln_tau=float(np.clip(_spread(ln_tau), LEAST_U_LN_TAU, 0.5)),
            share=float(np.median(share)),
            u_share=float(np.clip(_spread(share), LEAST_U_SHARE, 0.02)),
            converter=_common_converter(told),
        )
        self._learned = True

    def read(
        self, shape: Shape, *, manners: Manners, walk: float, release_at: float | None = None
    ) -> Hold | None:
        return read_lockout(
            shape, law=self._law, walk=walk, manners=manners, release_at=release_at
        )

    def too_slow(self, shape: Shape) -> bool:
        return False


class _MotorReader:
    relaxes = False
    law = None

    def __init__(self) -> None:
        self._motor = Motor()

    def manners(self, shape: Shape) -> Manners:
        return manners_of(shape, relaxes=False, steady=True)

    def learn(self, pulls: Sequence[tuple[Shape, Manners]], *, walk: float) -> None:
        # A string that was pushed says little of the motor.
        plain = [shape for shape, manners in pulls if not manners.flags]
        enough = len(plain) >= MOST_HOLDS // 2
        self._motor = learn_motor(plain if enough else [shape for shape, _ in pulls])

    def read(
        self, shape: Shape, *, manners: Manners, walk: float, release_at: float | None = None
    ) -> Hold | None:
        return read_constant_pull(shape, motor=self._motor, release_at=release_at)

    def too_slow(self, shape: Shape) -> bool:
        return 1.0 / shape.period < LOWEST_RATE_HZ


class _BarReader:
    relaxes = False
    law = None

    def __init__(self) -> None:
        self._bar = Bar()

    def manners(self, shape: Shape) -> Manners:
        return manners_of(shape, relaxes=False)

    def learn(self, pulls: Sequence[tuple[Shape, Manners]], *, walk: float) -> None:
        self._bar = learn_bar([shape for shape, _ in pulls])

    def read(
        self, shape: Shape, *, manners: Manners, walk: float, release_at: float | None = None
    ) -> Hold | None:
        return read_drop_weight(shape, bar=self._bar, release_at=release_at)

    def too_slow(self, shape: Shape) -> bool:
        return 1.0 / shape.period < LOWEST_RATE_HZ


def _common_converter(holds: Sequence[Hold]) -> tuple[float, ...] | None:
    """What most of the seen falls say the converter averages over."""
    said = [h.converter for h in holds if h.converter is not None and h.drop is not None]
    large = [
        h for h in holds if h.converter is not None and (h.drop or 0) > 20 * (h.u_drop or 1)
    ]
    said = [h.converter for h in large if h.converter is not None] or said
    if len(said) < LEAST_HOLDS:
        return None
    return max(sorted(set(said)), key=said.count)


def _spread(x: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    """Standard deviation as the median absolute deviation gives it."""
    return float(1.4826 * np.median(np.abs(x - np.median(x))))
