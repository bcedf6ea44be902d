"""What the strings say together: scatter, left against right, clamp A and clamp B."""

import math
from dataclasses import dataclass

import numpy as np

from tensionlog.report.rows import Row, rows, standing
from tensionlog.report.view import JobView
from tensionlog.report.words import NOT_EVIDENCE

OUTLIER_Z = 3.5
"""Limit of the modified z-score 0.6745·|x − median| / MAD (Iglewicz and Hoaglin, "How
to Detect and Handle Outliers", 1993; from memory)."""

Z_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution, for the Wilson interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Scatter of one group of strings: of the loss, or of the reading where uncalibrated.

    Attributes:
        name: `mains`, `crosses`, `left` or `right`.
        n: Strings with a number.
        mean: Their mean, or None without any.
        sd: Standard deviation of one (n − 1); None below two.
        median: Their median.
        mad: Median absolute deviation from it, not scaled.
        outliers: Positions far from the median; named only from five strings on.
    """

    name: str
    n: int
    mean: float | None
    sd: float | None
    median: float | None
    mad: float | None
    outliers: tuple[str, ...]

    @property
    def u_mean(self) -> float | None:
        """One standard uncertainty of the mean, from the scatter alone."""
        return None if self.sd is None else self.sd / math.sqrt(self.n)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampEvidence:
    """What the releases of the mains told about one clamp.

    Attributes:
        clamp: Its name.
        releases: Releases of mains at which a step could be looked for.
        seen: How many showed one.
        low: Lower end of the 95 % Wilson interval of the share seen.
        high: Upper end.
        most_give_mm: Largest give that a release told, at least; None where none did.
        at: String that the clamp had held then.
    """

    clamp: str
    releases: int
    seen: int
    low: float
    high: float
    most_give_mm: float | None
    at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Redone:
    """One pull that was made again, beside the one that stands."""

    name: str
    number: int
    release: float | None
    stood_number: int | None
    stood_release: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Everything that the strings say together.

    Attributes:
        of: `loss` or `reading`.
        groups: Mains and crosses, then left and right.
        side_difference: Mean of the left mains minus mean of the right.
        side_u: One standard uncertainty of that, from the scatter.
        clamps: Evidence by clamp, A before B.
        redone: Void pulls.
        early: Positions whose clamp was shut early.
    """

    of: str
    groups: tuple[Group, ...]
    side_difference: float | None
    side_u: float | None
    clamps: tuple[ClampEvidence, ...]
    redone: tuple[Redone, ...]
    early: tuple[str, ...]


def spread_info(view: JobView) -> Spread:
    """Work out what the strings of a job say together."""
    judged = rows(view)
    last = standing(judged)
    left = _group("left", [r for r in last if r.name.startswith("L")])
    right = _group("right", [r for r in last if r.name.startswith("R")])
    difference, u = _difference(left, right)
    return Spread(
        of="loss" if view.is_calibrated else "reading",
        groups=(
            _group("mains", [r for r in last if r.kind == "main"]),
            _group("crosses", [r for r in last if r.kind == "cross"]),
            left,
            right,
        ),
        side_difference=difference,
        side_u=u,
        clamps=_clamps(last),
        redone=_redone(judged),
        early=tuple(r.name for r in last if "early-clamp" in r.pull.flags),
    )


def wilson(seen: int, n: int) -> tuple[float, float]:
    """The 95 % interval of a share by Wilson's score (1927).

    >>> tuple(round(end, 4) for end in wilson(0, 10))
    (0.0, 0.2775)
    """
    if n == 0:
        return 0.0, 1.0
    share, z2n = seen / n, Z_95**2 / n
    middle = (share + z2n / 2) / (1 + z2n)
    half = Z_95 * math.sqrt(share * (1 - share) / n + z2n / (4 * n)) / (1 + z2n)
    return max(0.0, middle - half), min(1.0, middle + half)


def outliers(numbers: dict[str, float]) -> tuple[str, ...]:
    """Names of those far from the median by the modified z-score."""
    if len(numbers) < 5:
        return ()
    away = np.abs(np.fromiter(numbers.values(), dtype=np.float64) - _median(numbers))
    mad = float(np.median(away))
    return tuple(
        name for name, d in zip(numbers, away, strict=True) if 0.6745 * d > OUTLIER_Z * mad
    )


def _median(numbers: dict[str, float]) -> float:
    return float(np.median(list(numbers.values())))


def _measure(row: Row) -> float | None:
    return row.pull.release if row.unit == "counts" else row.loss


def _group(name: str, members: list[Row]) -> Group:
    numbers = {r.name: m for r in members if (m := _measure(r)) is not None}
    values = np.array(list(numbers.values()))
    n = len(numbers)
    median = _median(numbers) if n else None
    return Group(
        name=name,
        n=n,
        mean=float(values.mean()) if n else None,
        sd=float(values.std(ddof=1)) if n > 1 else None,
        median=median,
        mad=float(np.median(np.abs(values - median))) if median is not None else None,
        outliers=outliers(numbers),
    )


def _difference(left: Group, right: Group) -> tuple[float | None, float | None]:
    if left.mean is None or right.mean is None:
        return None, None
    if left.u_mean is None or right.u_mean is None:
        return left.mean - right.mean, None
    return left.mean - right.mean, math.hypot(left.u_mean, right.u_mean)


def _clamps(last: tuple[Row, ...]) -> tuple[ClampEvidence, ...]:
    # A woven cross is straightened while the head holds, which looks like a step.
    telling = [
        r
        for r in last
        if r.pull.clamp_opened
        and r.kind == "main"
        and r.pull.drop is not None
        and not any(flag in NOT_EVIDENCE for flag in r.pull.flags)
    ]
    names = sorted({r.pull.clamp_opened for r in telling if r.pull.clamp_opened})
    return tuple(
        _evidence(name, [r for r in telling if r.pull.clamp_opened == name]) for name in names
    )


def _evidence(clamp: str, telling: list[Row]) -> ClampEvidence:
    seen = [r for r in telling if r.pull.seen]
    most = max(seen, key=lambda r: r.pull.at_least_give_mm or 0.0, default=None)
    low, high = wilson(len(seen), len(telling))
    return ClampEvidence(
        clamp=clamp,
        releases=len(telling),
        seen=len(seen),
        low=low,
        high=high,
        most_give_mm=most.pull.at_least_give_mm if most else None,
        at=most.pull.held_position if most else None,
    )


def _redone(judged: tuple[Row, ...]) -> tuple[Redone, ...]:
    stood = {row.name: row for row in judged if row.stands}
    return tuple(
        Redone(
            name=row.name,
            number=row.number,
            release=row.pull.release,
            stood_number=stood[row.name].number if row.name in stood else None,
            stood_release=stood[row.name].pull.release if row.name in stood else None,
        )
        for row in judged
        if row.state == "void"
    )
