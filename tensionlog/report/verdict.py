"""The one line at the top: how many pulls are well, and which are worth a look."""

import statistics
from typing import NamedTuple

from tensionlog.report.rounding import Reader, millimetres, percent
from tensionlog.report.rows import Row, rows, standing
from tensionlog.report.view import JobView, Limits
from tensionlog.report.words import LOOK_FLAGS, flag_words, listed, plural

FEWEST_IN_COMMON = 8
COMMON_FROM_PCT = 1.0
"""A shared offset is worth a line from half of what a single pull is allowed."""

AIMS = {"expected": "what was to be expected", "target": "the target", None: "the target"}


class Verdict(NamedTuple):
    """Counts that add up to the strings with a pull that stands.

    Attributes:
        within: How many lie within the limit.
        off: Names of those a little off.
        look: Those to look at.
        unjudged: Names of those that cannot be judged.
        against: What was compared with: `expected`, `target`, or None.
        within_pct: The limit, per cent.
        made: Pulls made, void ones too.
        missing: Planned strings without a pull that stands.
        calibrated: Whether the readings are forces.
        common_pct: Median distance of all from what was to be expected, per cent; None
            below `FEWEST_IN_COMMON` of them.
    """

    within: int
    off: tuple[str, ...]
    look: tuple[Row, ...]
    unjudged: tuple[str, ...]
    against: str | None
    within_pct: float
    made: int
    missing: tuple[str, ...]
    calibrated: bool
    common_pct: float | None

    @property
    def total(self) -> int:
        """Strings with a pull that stands."""
        return self.within + len(self.off) + len(self.look) + len(self.unjudged)


def verdict_info(view: JobView) -> Verdict:
    """Count the pulls that stand by what they were found to be."""
    judged = rows(view)
    last = standing(judged)
    pulled = {row.name for row in last}
    bases = {row.against for row in last if row.against}
    return Verdict(
        within=len(_named(last, "within")),
        off=_named(last, "off"),
        look=tuple(row for row in last if row.state == "look"),
        unjudged=_named(last, "unjudged"),
        against="expected" if "expected" in bases else next(iter(bases), None),
        within_pct=view.limits.within_pct,
        made=len(judged),
        missing=tuple(p for p in view.job.sequence if p not in pulled),
        calibrated=view.is_calibrated,
        common_pct=_common_pct(last),
    )


def _common_pct(last: tuple[Row, ...]) -> float | None:
    off = [row.off_pct for row in last if row.off_pct is not None]
    return statistics.median(off) if len(off) >= FEWEST_IN_COMMON else None


def common_sentence(verdict: Verdict) -> str | None:
    """Say what all pulls share: that is the head or the scale, not single strings."""
    share = verdict.common_pct
    if share is None or abs(share) < COMMON_FROM_PCT:
        return None
    side = "below" if share < 0 else "above"
    return (
        f"As a whole the bed reads {percent(abs(share))} {side} {AIMS[verdict.against]}: "
        "that is the head’s setting or the scale, not single strings."
    )


def _named(last: tuple[Row, ...], state: str) -> tuple[str, ...]:
    return tuple(row.name for row in last if row.state == state)


def sentence(verdict: Verdict) -> str:
    """Say the verdict in one plain line."""
    if not verdict.made:
        return "No pull was found for this job."
    if not verdict.total:
        return f"No reading stands: {plural(verdict.made, 'pull')} made, all redone or undone."
    if not verdict.calibrated:
        said = (
            f"{plural(verdict.total, 'string')} pulled without a calibration: "
            "they can be compared with each other, not with the order"
        )
        return "; ".join([said, *_look_clause(verdict)]) + "."
    return "; ".join(_clauses(verdict)) + "."


def _clauses(verdict: Verdict) -> list[str]:
    total, limit = verdict.total, f"{verdict.within_pct:g} %"
    counted = f"All {total}" if verdict.within == total > 1 else f"{verdict.within} of {total}"
    aim = AIMS[verdict.against]
    clauses = [f"{counted} pulls within {limit} of {aim}"]
    if verdict.off:
        clauses.append(f"{len(verdict.off)} a little off")
    clauses += _look_clause(verdict)
    if verdict.unjudged:
        names = listed(list(verdict.unjudged))
        clauses.append(f"{len(verdict.unjudged)} not judged: {names}")
    return clauses


def _look_clause(verdict: Verdict) -> list[str]:
    names = listed([row.name for row in verdict.look])
    return [f"{len(verdict.look)} to look at: {names}"] if names else []


def reasons(row: Row, reader: Reader, limits: Limits) -> tuple[str, ...]:
    """Why a pull is one to look at, each reason a phrase."""
    found = [flag_words(flag) for flag in row.pull.flags if flag in LOOK_FLAGS]
    if row.off is not None and row.off_pct is not None and abs(row.off_pct) > limits.look_pct:
        side = "below" if row.off < 0 else "above"
        size = reader.amount(abs(row.off), row.reading_u)
        found.append(f"read {size} ({percent(abs(row.off_pct))}) {side} {AIMS[row.against]}")
    if row.held_give_mm is not None and row.held_give_mm >= limits.give_look_mm:
        found.append(
            f"its clamp let at least {millimetres(row.held_give_mm)} through "
            f"({reader.amount(row.held_lost)}), told by the release at {row.told_by}"
        )
    return tuple(found)
