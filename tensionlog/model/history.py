"""What a bench's history is made of: what happened day by day, and the life of alerts."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

EVENTS = ("raised", "seen", "acted", "closed", "reopened")
"""What can happen to an alert."""


class Happened(NamedTuple):
    """One thing that a sitting adds to the history of its bench.

    Attributes:
        kind: What it is, such as `tested`.
        at_s: When, seconds UTC since 1970.
        body: What was found, as JSON.
    """

    kind: str
    at_s: float
    body: Mapping[str, Any]


class StoredHappened(NamedTuple):
    """The same with its sitting: when that was begun, seconds UTC since 1970."""

    recording_s: float
    happened: Happened


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What the releases of one job said about one clamp.

    Attributes:
        job_number: Which job of the recording.
        clamp: Which clamp.
        releases: Releases of mains looked at.
        could_show: How many of them could have shown a give of 1 mm.
        seen: How many of those showed a drop.
        dead_band_n: Middle loss that could not have been seen, newtons.
        dead_band_mm: The same in millimetres at the reference force.
        most_mm: Most that a held string had lost, at least; None where no drop was seen.
    """

    job_number: int
    clamp: str
    releases: int
    could_show: int
    seen: int
    dead_band_n: float
    dead_band_mm: float
    most_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertEvent:
    """One step in the life of an alert.

    Attributes:
        alert: The alert's own name, such as `2026-03-24-clamp-B`.
        event: One of `EVENTS`.
        at_s: When, seconds UTC since 1970.
        body: The whole alert as it stands after the event.
    """

    alert: str
    event: str
    at_s: float
    body: Mapping[str, Any]


class Unwatched(NamedTuple):
    """A sitting that the watch over the bench has not looked at yet.

    Attributes:
        recording_id: The sitting's.
        recording_s: When it was begun, seconds UTC since 1970.
    """

    recording_id: int
    recording_s: float
