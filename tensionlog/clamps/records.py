"""What a bench's history is made of: one plain record for each thing that happened.

Each is made from what is stored: the pinned answers of checks and tests, the notes, the
pulls of a job. `recording_s` is when the recording was opened that says it; `at_s` is when
it was made. Both are seconds UTC since 1970.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median
from typing import Any

from tensionlog.clamps.evidence import compare, releases_of_mains
from tensionlog.model.job import Job
from tensionlog.model.pull import Pull

Answer = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One morning check of the cell.

    Attributes:
        recording_s: When its recording was opened.
        at_s: When it was made.
        zero_n: Empty reading, newtons, or None.
        span_pct: Slope of reading against reference less one, per cent, or None.
        loads_pct: Error of each load by its name, per cent of it.
        verdict: `good`, `adjust`, `stop`, or None.
        calibration: Any name of the calibration in force; another one is a new baseline.
    """

    recording_s: float
    at_s: float
    zero_n: float | None
    span_pct: float | None
    loads_pct: Mapping[str, float] = field(default_factory=dict)
    verdict: str | None = None
    calibration: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialled:
    """The head check of one sitting: how far its pulls were from the dial, per cent."""

    recording_s: float
    at_s: float
    head_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """One hold test.

    Attributes:
        recording_s: When its recording was opened.
        at_s: When it was made.
        clamp: Which clamp.
        target_n: Force it was made at, newtons, or None.
        give_mm: What the clamp gave, or None.
        relaxation_pct: Loss of the string per decade of time, per cent, or None.
        verdict: `good`, `watch`, `service`, or None where the test gave no answer.
        reasons: What made the verdict.
    """

    recording_s: float
    at_s: float
    clamp: str
    target_n: float | None
    give_mm: float | None
    relaxation_pct: float | None = None
    verdict: str | None = None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Strung:
    """What one job says about the bench.

    Attributes:
        recording_s: When its recording was opened.
        at_s: When it was begun.
        a_minus_b_mm: Give of clamp A less that of clamp B, or None.
        early_pct: Share of its pulls whose clamp was opened too early, per cent, or None.
        relaxation_pct: Loss of its string per decade of time, per cent, or None.
        string: What was strung; only the same string is compared.
    """

    recording_s: float
    at_s: float
    a_minus_b_mm: float | None = None
    early_pct: float | None = None
    relaxation_pct: float | None = None
    string: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A clamp was cleaned, adjusted, re-faced or replaced."""

    recording_s: float
    at_s: float
    clamp: str
    what: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a person said to an alert.

    Attributes:
        recording_s: When the recording was opened that says so.
        at_s: When it was said.
        raised_s: Which alert: when it was raised.
        state: `seen` or `acted`.
    """

    recording_s: float
    at_s: float
    raised_s: float
    state: str


Record = Checked | Dialled | Tested | Strung | Served | Told


def checked_of(
    answer: Answer, *, recording_s: float, at_s: float, calibration: str = ""
) -> Checked:
    """The record of a check's answer (`check` of the pinned form)."""
    by_load: dict[str, list[float]] = {}
    for point in answer.get("points") or ():
        error_n, reference_n = point.get("error_N"), point.get("reference_N")
        if error_n is not None and reference_n:
            name = point.get("load") or f"{reference_n:.0f} N"
            by_load.setdefault(name, []).append(100.0 * error_n / reference_n)
    return Checked(
        recording_s=recording_s,
        at_s=at_s,
        zero_n=answer.get("zero_N"),
        span_pct=answer.get("span_error_pct"),
        loads_pct={name: fmean(errors) for name, errors in by_load.items()},
        verdict=answer.get("verdict"),
        calibration=calibration,
    )


def dialled_of(
    answer: Sequence[Answer], *, recording_s: float, at_s: float, locks: bool
) -> Dialled | None:
    """The record of a head check's answer (`head` of the pinned form); None if it is empty.

    Args:
        answer: One entry a pull.
        recording_s: When the recording was opened.
        at_s: When the check was made.
        locks: Whether the head locks: then the peak is what it pulled, and what the
            string has lost since is not the head's.
    """
    offs = list[float]()
    for pull in answer:
        first, second = ("peak_N", "at_3s_N") if locks else ("at_3s_N", "peak_N")
        level_n = pull.get(second) if pull.get(first) is None else pull.get(first)
        if level_n is not None and pull.get("set_N"):
            offs.append(100.0 * (level_n / pull["set_N"] - 1.0))
    return Dialled(recording_s=recording_s, at_s=at_s, head_pct=fmean(offs)) if offs else None


def tested_of(answer: Answer, *, recording_s: float, at_s: float) -> Tested:
    """The record of a hold test's answer (`hold` of the pinned form)."""
    relaxation = answer.get("relaxation_per_decade")
    return Tested(
        recording_s=recording_s,
        at_s=at_s,
        clamp=str(answer["clamp"]),
        target_n=answer.get("target_N"),
        give_mm=answer.get("give_mm"),
        relaxation_pct=None if relaxation is None else 100.0 * relaxation,
        verdict=answer.get("verdict"),
        reasons=tuple(answer.get("reasons") or ()),
    )


def strung_of(
    *, job: Job, pulls: Sequence[Pull], phi_max: float, recording_s: float, at_s: float
) -> Strung:
    """The record of a job: clamp A against clamp B by its mains, dwell, relaxation."""
    sound = [pull for pull in pulls if not pull.void and pull.kind == "pull"]
    relaxing = [pull.relaxation for pull in sound if pull.relaxation is not None]
    early = [100.0 * ("early-clamp" in pull.flags) for pull in sound]
    string = job.raw.get("string") or job.raw.get("string_mains")
    return Strung(
        recording_s=recording_s,
        at_s=at_s,
        a_minus_b_mm=_a_minus_b(job, sound, phi_max),
        early_pct=fmean(early) if early else None,
        relaxation_pct=100.0 * median(relaxing) if relaxing else None,
        string=None if string is None else str(string),
    )


def _a_minus_b(job: Job, pulls: Sequence[Pull], phi_max: float) -> float | None:
    releases = releases_of_mains(pulls=pulls, job=job, phi_max=phi_max)
    found = compare(releases, first="A", second="B").mm
    return None if found is None else found.best
