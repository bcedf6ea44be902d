"""What the releases of a job say about the clamps.

A release tells about the string behind, which the opened clamp held: a drop says what
that string had lost at least; no drop says that it had lost less than the dead band
(1 − φ)·T₁. Everything is turned into millimetres at one force, so that spans, strings
and targets drop out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from tensionlog.clamps.censored import Interval, RankTest, TobitFit, fit_tobit, gehan
from tensionlog.errors import ClampError
from tensionlog.model.history import Evidence
from tensionlog.model.job import Job
from tensionlog.model.pull import Pull

SPOILED = frozenset(
    {"interrupted", "not-measurable", "early-clamp", "gripper-slip", "straightened"}
)
"""A release under one of these flags says nothing certain about a clamp."""

REFERENCE_N = 120.0
"""Force at which jobs are compared: a common order."""

SURE = 2.0
"""A drop must stand so many standard uncertainties clear to be seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """One release that could say something about a clamp.

    Attributes:
        clamp: The clamp that was opened: it had held the string behind.
        held_position: That string.
        lost_mm: What it had lost at least, as millimetres at the reference force; None
            where no drop was seen.
        limit_mm: What could not have been seen, the same way.
        dead_band_n: The same in newtons, as it is.
        shows_1mm: Whether a give of 1 mm would have been seen.
    """

    clamp: str
    held_position: str
    lost_mm: float | None
    limit_mm: float
    dead_band_n: float
    shows_1mm: bool

    @property
    def seen(self) -> bool:
        """Whether a drop was seen."""
        return self.lost_mm is not None

    @property
    def value_mm(self) -> float:
        """The loss where seen, the limit it lies below where not."""
        return self.limit_mm if self.lost_mm is None else max(self.lost_mm, self.limit_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Clamp A against clamp B inside one job, in millimetres of give.

    Attributes:
        first: The clamp that is compared.
        second: The clamp it is compared with.
        mm: First less second with its interval; None where drops of one are never seen.
        u_mm: Standard uncertainty of it, or None.
        ranks: The same question asked of ranks alone; None where nothing was seen.
        why_not: Why there is no `mm`, or None.
    """

    first: str
    second: str
    mm: Interval | None
    u_mm: float | None
    ranks: RankTest | None
    why_not: str | None


def releases_of(
    *, pulls: Sequence[Pull], job: Job, phi_max: float, reference_n: float
) -> tuple[Release, ...]:
    """The releases of a job that say something about a clamp.

    Args:
        pulls: Every pull of the bed.
        job: Its ticket: spans and stiffness.
        phi_max: Upper limit of what passes round the frame on this bench.
        reference_n: Force at which millimetres are compared.
    """
    found = (_release(pull, job, phi_max, reference_n) for pull in pulls)
    return tuple(release for release in found if release is not None)


def _release(pull: Pull, job: Job, phi_max: float, reference_n: float) -> Release | None:
    held, clamp, top, drop_u = pull.held_position, pull.clamp_opened, pull.top, pull.drop_u
    if held is None or clamp is None or top is None or drop_u is None:
        return None
    if pull.void or pull.kind != "pull" or pull.unit != "N" or SPOILED & set(pull.flags):
        return None
    span_m, ea_n, target_n = job.spans_m.get(held), job.ea_n(held), job.target_n(held)
    if not span_m or not ea_n or not target_n:
        return None
    mm_per_n = 1000.0 * span_m / ea_n
    at_reference = mm_per_n * reference_n / target_n
    dead_band_n = max(0.0, (1.0 - phi_max) * top) + SURE * drop_u
    lost_n = pull.at_least_lost if pull.seen else None
    return Release(
        clamp=clamp,
        held_position=held,
        lost_mm=None if lost_n is None else lost_n * at_reference,
        limit_mm=dead_band_n * at_reference,
        dead_band_n=dead_band_n,
        shows_1mm=dead_band_n * mm_per_n <= 1.0,
    )


def releases_of_mains(
    *, pulls: Sequence[Pull], job: Job, phi_max: float
) -> tuple[Release, ...]:
    """The same of the mains alone, at the force at which jobs are compared."""
    mains = [p for p in pulls if p.held_position and not p.held_position.startswith("X")]
    return releases_of(pulls=mains, job=job, phi_max=phi_max, reference_n=REFERENCE_N)


def evidence_of(releases: Sequence[Release], *, job_number: int) -> tuple[Evidence, ...]:
    """What the releases of one job say about each clamp that was opened, by its name."""
    by_clamp: dict[str, list[Release]] = {}
    for release in releases:
        by_clamp.setdefault(release.clamp, []).append(release)
    return tuple(
        _evidence(clamp, own, job_number=job_number) for clamp, own in sorted(by_clamp.items())
    )


def _evidence(clamp: str, own: Sequence[Release], *, job_number: int) -> Evidence:
    could = [release for release in own if release.shows_1mm]
    return Evidence(
        job_number=job_number,
        clamp=clamp,
        releases=len(own),
        could_show=len(could),
        seen=sum(release.seen for release in could),
        dead_band_n=median(release.dead_band_n for release in own),
        dead_band_mm=median(release.limit_mm for release in own),
        most_mm=max((r.lost_mm for r in own if r.lost_mm is not None), default=None),
    )


def compare(releases: Sequence[Release], *, first: str, second: str) -> Difference:
    """First clamp against second inside one job: string, target, hand and cell drop out."""
    two = [release for release in releases if release.clamp in (first, second)]
    mine = [release for release in two if release.clamp == first]
    other = [release for release in two if release.clamp == second]
    if not mine or not other:
        idle = first if not mine else second
        return _no_difference(first, second, None, f"clamp {idle} was never opened")
    ranks = gehan(
        a=[r.value_mm for r in mine],
        a_seen=[r.seen for r in mine],
        b=[r.value_mm for r in other],
        b_seen=[r.seen for r in other],
    )
    if min(sum(r.seen for r in mine), sum(r.seen for r in other)) < 1:
        quiet = first if not any(r.seen for r in mine) else second
        return _no_difference(first, second, ranks, f"clamp {quiet} never showed a drop")
    try:
        fit = _fit_two(two, first)
    except ClampError as error:
        return _no_difference(first, second, ranks, str(error))
    weights = (0.0, 1.0)
    u_mm = float(np.sqrt(fit.covariance[1, 1]))
    return Difference(
        first=first,
        second=second,
        mm=fit.interval(weights),
        u_mm=u_mm,
        ranks=ranks,
        why_not=None,
    )


def _no_difference(first: str, second: str, ranks: RankTest | None, why: str) -> Difference:
    return Difference(first=first, second=second, mm=None, u_mm=None, ranks=ranks, why_not=why)


def _fit_two(releases: Sequence[Release], first: str) -> TobitFit:
    is_first = np.array([release.clamp == first for release in releases], dtype=np.float64)
    return fit_tobit(
        design=np.column_stack([np.ones(len(releases)), is_first]),
        values=[release.value_mm for release in releases],
        seen=[release.seen for release in releases],
    )


def level_over_jobs(
    *, jobs: Sequence[Sequence[Release]], days: Sequence[float], clamp: str
) -> TobitFit:
    """Give of one clamp over many jobs: its level at the middle day, and change per day.

    Args:
        jobs: The releases of each job.
        days: When each was strung, days on any scale.
        clamp: Which clamp.

    Returns:
        A fit with the two coefficients (mm at the mean day, mm per day).

    Raises:
        ClampError: Too few drops were seen.
    """
    rows = [
        (day, release)
        for day, job in zip(days, jobs, strict=True)
        for release in job
        if release.clamp == clamp
    ]
    when = np.array([day for day, _ in rows], dtype=np.float64)
    ages = when - when.mean() if when.size else when
    return fit_tobit(
        design=np.column_stack([np.ones_like(ages), ages]),
        values=[release.value_mm for _, release in rows],
        seen=[release.seen for _, release in rows],
    )
