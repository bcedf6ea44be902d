"""From hold tests and services to the series that are charted."""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from tensionlog.clamps.hold_result import HoldResult
from tensionlog.clamps.series import Series

SAME_FORCE = 0.03
"""Tests are only compared at the same force; a dial is set to within this share."""


class Tested(NamedTuple):
    """One hold test in a history: seconds UTC since 1970, and what it found."""

    at_s: float
    result: HoldResult


class Served(NamedTuple):
    """One service in a history: seconds UTC since 1970, and the clamp."""

    at_s: float
    clamp: str


def usual_force(tests: Sequence[Tested]) -> float | None:
    """Force at which most tests were made; None without tests."""
    counted = Counter(round(test.result.target_n, 1) for test in tests)
    return counted.most_common(1)[0][0] if counted else None


def hold_series(tests: Sequence[Tested], services: Sequence[Served] = ()) -> dict[str, Series]:
    """`give-…` of every clamp (mm) and the control reel's `relaxation` (points a decade).

    Tests with a problem, and those at another force than most, are left out; a service is
    a mark of its own clamp's series.
    """
    force_n = usual_force([test for test in tests if test.result.problem is None])
    used = sorted(
        (t for t in tests if force_n and t.result.problem is None and _alike(t, force_n)),
        key=lambda test: test.at_s,
    )
    found = {
        f"give-{clamp}": _give(clamp, used, services)
        for clamp in sorted({test.result.clamp for test in used})
    }
    relaxing = [(t.at_s, t.result.relaxation) for t in used if t.result.relaxation is not None]
    found["relaxation"] = Series(
        name="relaxation",
        times_s=tuple(at_s for at_s, _ in relaxing),
        values=tuple(100.0 * share for _, share in relaxing),
    )
    return {name: one for name, one in found.items() if one.times_s}


def _alike(test: Tested, force_n: float) -> bool:
    return abs(test.result.target_n - force_n) <= SAME_FORCE * force_n


def _give(clamp: str, tests: Sequence[Tested], services: Sequence[Served]) -> Series:
    own = [
        (t.at_s, t.result.give_mm)
        for t in tests
        if t.result.clamp == clamp and t.result.give_mm is not None
    ]
    return Series(
        name=f"give-{clamp}",
        times_s=tuple(at_s for at_s, _ in own),
        values=tuple(mm for _, mm in own),
        marks_s=tuple(sorted(s.at_s for s in services if s.clamp == clamp)),
    )
