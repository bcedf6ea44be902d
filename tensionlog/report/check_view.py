"""What the page of a morning check is drawn from: results, no database."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tensionlog.check.drift import Watched
from tensionlog.check.head import Advice, HeadResult
from tensionlog.check.verdict import Tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartMark:
    """Something that was done, to be drawn into the charts.

    Attributes:
        at: When.
        what: In plain words.
        kind: `calibration` or `service`.
    """

    at: datetime
    what: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """One series over the mornings.

    Attributes:
        began: Day 0.
        watched: What it shows; its days count from `began`.
        says: One sentence.
        marks: What was done meanwhile to what it shows.
    """

    began: datetime
    watched: Watched
    says: str
    marks: tuple[ChartMark, ...] = ()

    def day_of(self, at: datetime) -> float:
        """A moment as a day of the series."""
        return (at - self.began) / timedelta(days=1)

    def date_of(self, day: float) -> datetime:
        """A day of the series as a moment."""
        return self.began + timedelta(days=day)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckView:
    """One morning.

    Attributes:
        bench: Name of the bench.
        at: When the sitting began.
        check: The check's answer.
        head: The head, or None where it was not pulled in the last two weeks.
        head_pulls: Answers of today's head check, one a pull.
        holds: Answers of today's hold tests.
        tolerance: How far a reading may be off.
        charts: Zero, span and head over the mornings.
        dial: What to dial for every order; empty where nothing is advised.
        unit: Unit of orders and dial.
        calibration: Name of the calibration that was in force, or None.
    """

    bench: str
    at: datetime
    check: Mapping[str, Any]
    head: HeadResult | None
    head_pulls: tuple[Mapping[str, Any], ...]
    holds: tuple[Mapping[str, Any], ...]
    tolerance: Tolerance
    charts: tuple[Chart, ...]
    dial: tuple[Advice, ...]
    unit: str
    calibration: str | None
