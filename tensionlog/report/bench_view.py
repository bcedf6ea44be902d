"""The one record that the maintenance page is drawn from; the pipeline fills it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

Answer = Mapping[str, Any]


class Mark(NamedTuple):
    """Something done to a clamp: seconds UTC since 1970, and what."""

    at_s: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One quantity over time.

    Attributes:
        name: What it is, in words.
        unit: Of the values.
        times_s: Seconds UTC since 1970, rising.
        values: The values.
        marks: Where its baseline begins anew.
        levels: (begin, end, median) of each stretch between marks, seconds and values.
        limits: (value, word) of each line that must not be passed.
        alerts: (raised, closed or None) of the alerts about it, seconds.
    """

    name: str
    unit: str
    times_s: tuple[float, ...]
    values: tuple[float, ...]
    marks: tuple[Mark, ...] = ()
    levels: tuple[tuple[float, float, float], ...] = ()
    limits: tuple[tuple[float, str], ...] = ()
    alerts: tuple[tuple[float, float | None], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a clamp held second by second: its latest test over those of its baseline.

    Attributes:
        start_s: Time of the first value after the hand-off.
        step_s: From one value to the next.
        latest: Fall since before the hand-off, newtons; None where nothing came.
        latest_on: Day of that test.
        low: Least fall of the baseline's tests at each time.
        middle: Their median.
        high: Their greatest.
        tests: How many tests make the baseline; 0 without one.
        force_n: Force of the latest test.
    """

    start_s: float
    step_s: float
    latest: tuple[float | None, ...]
    latest_on: str
    low: tuple[float | None, ...]
    middle: tuple[float | None, ...]
    high: tuple[float | None, ...]
    tests: int
    force_n: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InJobs:
    """What the releases of the latest jobs said about one clamp.

    Attributes:
        clamp: Which.
        jobs: How many jobs.
        releases: Releases of their mains.
        could_show: How many could have shown a give of 1 mm.
        seen: How many of those did show a drop.
        low: Lower end of the 95 % interval of that share; None where none could show it.
        high: Upper end.
        dead_band_n: Middle dead band, newtons.
        dead_band_mm: The same in millimetres.
    """

    clamp: str
    jobs: int
    releases: int
    could_show: int
    seen: int
    low: float | None
    high: float | None
    dead_band_n: float
    dead_band_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchView:
    """Everything that the maintenance page says.

    Attributes:
        status: As `tensionlog status --json` gives it.
        written_on: When the page is made, in the zone of the workshop.
        gives: Give of each clamp over time, in millimetres.
        held: What each clamp held second by second, by clamp.
        a_minus_b: Clamp A less clamp B inside jobs over time, or None.
        drifts: Cell and head over time.
        services: Every service, oldest first, as the command answers it.
        in_jobs: What jobs said, clamp by clamp.
        other_force: Hold tests left out because they were made at another force.
        made_with: Name and version of the program.
    """

    status: Answer
    written_on: datetime
    gives: Mapping[str, Line]
    held: Mapping[str, Held]
    a_minus_b: Line | None
    drifts: tuple[Line, ...]
    services: tuple[Answer, ...]
    in_jobs: tuple[InJobs, ...]
    other_force: int
    made_with: str = "tensionlog"
