"""What one recording holds, once it is read: the pulls found and what the line lost."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tensionlog.model.pull import Pull, Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One pull in its place.

    Attributes:
        number: Counts the pulls of the recording from 1, void ones too.
        job_number: Which `job-start` of the recording it belongs to, from 1, or None.
        bed: Counts the beds of one job ref from 1; a broken string begins the next.
        pull: The numbers.
        trace: The samples, for drawing and for computing again.
        rule: Name and version of the rule that produced the numbers.
    """

    number: int
    job_number: int | None
    bed: int
    pull: Pull
    trace: Trace
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """What the device counted against what arrived.

    Attributes:
        samples: Valid samples, saturated ones too.
        seconds: From the first sample to the last, on the device clock.
        bad_lines: Lines that were not sound.
        missing: Conversions counted by the device that never arrived sound; None
            where the dialect has no sequence.
        restarts: Times the device started again; None where that cannot be known.
        duplicates: Samples that came twice; the second is left out.
        faults: Name of a fault to how often it was reported.
    """

    samples: int = 0
    seconds: float = 0.0
    bad_lines: int = 0
    missing: int | None = 0
    restarts: int | None = 0
    duplicates: int = 0
    faults: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRun:
    """What holds for a whole job, beside its ticket.

    Attributes:
        number: Which `job-start` of the recording, from 1.
        bed: Counts the beds of one job ref from 1.
        raw: The ticket as it stands in the note.
        started_s: Seconds from the recording's first sample.
        ended_s: The same of `job-end`; None where the job was not ended.
        relaxation: Shared loss per decade of time, or None.
        tau_s: Shared origin of the relaxation, seconds, or None.
        phi_max: Upper limit of what passes round the frame, in force for this job.
        phi_measured: Whether `phi_max` was measured on this bench.
        could_show_1mm: Releases that could have shown a give of 1 mm.
        releases: Releases looked at.
        broke: Position of a string that broke and ended this bed, or None.
        inspections: `inspect` notes as (item, answer).
    """

    number: int
    bed: int
    raw: Mapping[str, Any]
    started_s: float
    ended_s: float | None
    relaxation: float | None
    tau_s: float | None
    phi_max: float
    phi_measured: bool
    could_show_1mm: int
    releases: int
    broke: str | None
    inspections: tuple[tuple[str, str], ...]
