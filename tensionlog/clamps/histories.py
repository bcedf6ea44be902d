"""From the records of a bench to the series that are charted."""

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TypeVar

from tensionlog.clamps.records import Checked, Dialled, Record, Served, Strung, Tested
from tensionlog.clamps.series import Series

R = TypeVar("R", Checked, Strung, Dialled)

SAME_FORCE = 0.03
"""Tests are only compared at the same force; a dial is set to within this share."""


def usual_force_n(tests: Iterable[Tested]) -> float | None:
    """Force at which most tests were made; None where none says its own."""
    counted = Counter(round(t.target_n, 1) for t in tests if t.target_n is not None)
    return counted.most_common(1)[0][0] if counted else None


def alike(tests: Sequence[Tested]) -> list[Tested]:
    """The tests with an answer, at the force at which most were made, in order of time."""
    answered = [test for test in tests if test.verdict is not None]
    force_n = usual_force_n(answered)
    return sorted((t for t in answered if _at_force(t, force_n)), key=lambda t: t.at_s)


def _at_force(test: Tested, force_n: float | None) -> bool:
    if force_n is None or test.target_n is None:
        return test.target_n is None
    return abs(test.target_n - force_n) <= SAME_FORCE * force_n


def series_of(records: Sequence[Record]) -> dict[str, Series]:
    """Every series of a bench by name; those without a value are left out.

    `zero` (N) and `span` (%) of the checks, `reference` (one load less another, %), `head`
    (%), `give-…` of every clamp (mm), the control reel's `relaxation` (points a decade),
    `a-minus-b` (mm), `early` (points) and `batch` (relaxation in jobs of the string that
    is strung most, points a decade). Services and new calibrations are marks.
    """
    checks = _in_time([r for r in records if isinstance(r, Checked)])
    tests = alike([r for r in records if isinstance(r, Tested)])
    jobs = _in_time([r for r in records if isinstance(r, Strung)])
    heads = _in_time([r for r in records if isinstance(r, Dialled)])
    services = [r for r in records if isinstance(r, Served)]
    marks_s = _recalibrated(checks)
    served_s = sorted(service.at_s for service in services)
    usual = _usual_string(jobs)
    found = [
        _series("zero", [(c.at_s, c.zero_n) for c in checks], marks_s),
        _series("span", [(c.at_s, c.span_pct) for c in checks], marks_s),
        _series("reference", _apart(checks)),
        _series("head", [(h.at_s, h.head_pct) for h in heads], marks_s),
        _series("relaxation", [(t.at_s, t.relaxation_pct) for t in tests]),
        _series("a-minus-b", [(j.at_s, j.a_minus_b_mm) for j in jobs], served_s),
        _series("early", [(j.at_s, j.early_pct) for j in jobs]),
        _series("batch", [(j.at_s, j.relaxation_pct) for j in jobs if j.string == usual]),
        *(_give(clamp, tests, services) for clamp in sorted({t.clamp for t in tests})),
    ]
    return {one.name: one for one in found if one.times_s}


def _in_time(records: list[R]) -> list[R]:
    return sorted(records, key=lambda record: record.at_s)


def _series(
    name: str, points: Sequence[tuple[float, float | None]], marks_s: Sequence[float] = ()
) -> Series:
    known = [(at_s, value) for at_s, value in points if value is not None]
    return Series(
        name=name,
        times_s=tuple(at_s for at_s, _ in known),
        values=tuple(value for _, value in known),
        marks_s=tuple(marks_s),
    )


def _give(clamp: str, tests: Sequence[Tested], services: Sequence[Served]) -> Series:
    own = [(t.at_s, t.give_mm) for t in tests if t.clamp == clamp]
    marks_s = sorted(s.at_s for s in services if s.clamp == clamp)
    return _series(f"give-{clamp}", own, marks_s)


def _recalibrated(checks: Sequence[Checked]) -> list[float]:
    """Just before each check that reads by another calibration than the one before."""
    pairs = pairwise(checks)
    return [new.at_s - 1e-3 for old, new in pairs if new.calibration != old.calibration]


def _apart(checks: Sequence[Checked]) -> list[tuple[float, float | None]]:
    """Of the two loads that were hung most often: the error of one less the other's."""
    counted = Counter(name for check in checks for name in check.loads_pct)
    if len(counted) < 2:
        return []
    # Of equals those that come first by name, whatever the order of hanging was.
    often = sorted(counted, key=lambda name: (-counted[name], name))[:2]
    return [
        (c.at_s, c.loads_pct[often[0]] - c.loads_pct[often[1]])
        for c in checks
        if set(often) <= c.loads_pct.keys()
    ]


def _usual_string(jobs: Sequence[Strung]) -> str | None:
    counted = Counter(job.string for job in jobs if job.string is not None)
    return counted.most_common(1)[0][0] if counted else None
