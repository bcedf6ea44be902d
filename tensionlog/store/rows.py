"""What the store hands back: the nouns, with the place each was found in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tensionlog.model.history import Evidence
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Header, Note
from tensionlog.model.sitting import JobRun, Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRecording:
    """One sitting as the database knows it.

    Attributes:
        recording_id: Made from bench and `started`, so the same in every rebuild.
        header: The header.
        name: Name of the file, as `begin` was told.
        digest: SHA-256 of the file's uncompressed bytes in hex, or None while it grows.
        ledger: What was lost, or None where the recording was not finished.
        drift_ppm: Device clock against host clock, parts per million, or None.
        boot_starts_s: Start of each boot, seconds from the recording's first sample.
    """

    recording_id: int
    header: Header
    name: str
    digest: str | None
    ledger: Ledger | None
    drift_ppm: float | None
    boot_starts_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredJob:
    """One job and the sitting that it was strung in.

    Attributes:
        recording_id: The sitting's.
        bench: Name of the bench.
        started: UTC time at which the recording was opened.
        ref: The workshop's reference as text, or None where the ticket has none.
        run: The ticket and what holds for the whole job.
    """

    recording_id: int
    bench: str
    started: datetime
    ref: str | None
    run: JobRun


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPull:
    """One pull without its trace, which `Store.trace_of` reads.

    Attributes:
        recording_id: The sitting's.
        number: Counts the pulls of the recording from 1, void ones too.
        job_number: Which `job-start` of the recording it belongs to, or None.
        bed: Counts the beds of one job ref from 1.
        pull: The numbers.
        rule: Name and version of the rule that produced the numbers.
        calibration_id: The calibration that made newtons of counts, or None.
    """

    recording_id: int
    number: int
    job_number: int | None
    bed: int
    pull: Pull
    rule: str
    calibration_id: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredNote:
    """One note and its sitting.

    Attributes:
        recording_id: The sitting's.
        bench: Name of the bench.
        number: Counts the notes of the recording from 1, in the order given.
        note: The note.
    """

    recording_id: int
    bench: str
    number: int
    note: Note


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredAnswer:
    """One answer and its sitting.

    Attributes:
        recording_id: The sitting's.
        bench: Name of the bench.
        started: UTC time at which the recording was opened.
        number: Counts the recording's answers of this kind from 1.
        body: The answer as it was given.
    """

    recording_id: int
    bench: str
    started: datetime
    number: int
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEvidence:
    """What one job said about one clamp.

    Attributes:
        recording_id: The sitting's.
        started: UTC time at which the recording was opened.
        ref: The job's reference, or None.
        evidence: What it said.
    """

    recording_id: int
    started: datetime
    ref: str | None
    evidence: Evidence
