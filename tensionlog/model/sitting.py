"""What one recording holds, once it is read: the pulls found and what the line lost."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tensionlog.model.pull import Pull, Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class LeverRelease:
    """A release that a switch on a clamp's lever marked, beside what the trace says of it.

    Times are seconds from the recording's first sample; a drop has the pull's own unit.

    Attributes:
        clamp: Whose lever.
        at_s: When it opened.
        by_trace_s: When the force fell by the trace alone; None where it saw no step.
        by_trace_drop: Its step by the trace alone, or None.
    """

    clamp: str
    at_s: float
    by_trace_s: float | None
    by_trace_drop: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Levers:
    """How good the estimate of the release is, as a sitting's levers tell.

    Attributes:
        releases: Releases that a lever marked.
        seen: Of these, how many are told from zero with the lever's moment known.
        found: Of these, how many the trace alone puts within a tenth of a second of it.
        elsewhere: Releases that the trace alone puts somewhere else.
        other_clamp: Levers of another clamp than the plan has opened.
        late_s: Median of the estimated moment minus the lever's, or None.
        spread_s: Spread of that, or None.
        drop: Median of the estimated step minus the one measured at the lever, or None.
        drop_spread: Spread of that, or None.
        unit: Of the steps: `N`, or `counts` without a calibration.
    """

    releases: int
    seen: int
    found: int
    elsewhere: int
    other_clamp: int
    late_s: float | None
    spread_s: float | None
    drop: float | None
    drop_spread: float | None
    unit: str


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
        lever: The release as a lever marked it, or None.
    """

    number: int
    job_number: int | None
    bed: int
    pull: Pull
    trace: Trace
    rule: str
    lever: LeverRelease | None = None


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
