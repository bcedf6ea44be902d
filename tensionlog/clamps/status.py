"""The state of a bench on a day: each clamp, cell, head, and every alert."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median
from typing import Any, TypeVar

from tensionlog.clamps.alerts import Alert
from tensionlog.clamps.histories import alike
from tensionlog.clamps.hold_result import VERDICTS, HoldLimits
from tensionlog.clamps.records import Checked, Dialled, Record, Served, Tested
from tensionlog.clamps.series import BASELINE
from tensionlog.clamps.watch import alerts_of

R = TypeVar("R", Checked, Dialled)

LATEST = 3
"""Tests that a state rests on: one alone scatters by a tenth of a millimetre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampState:
    """How one clamp stands.

    Attributes:
        clamp: Which clamp.
        state: `good`, `watch` or `service`; None where no test gave an answer.
        give_mm: Median give of the latest tests since its last service, or None.
        since_s: Test from which on it has been in this state, seconds UTC since 1970.
        tested_s: When it was tested last.
        reasons: What the last test said beside its give.
        tests: Tests since its last service.
        needed: How many more tests its baseline needs.
    """

    clamp: str
    state: str | None
    give_mm: float | None
    since_s: float | None
    tested_s: float | None
    reasons: tuple[str, ...]
    tests: int
    needed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """Everything that `status` says of one bench on a day."""

    at_s: float
    clamps: tuple[ClampState, ...]
    check: Checked | None
    head: Dialled | None
    alerts: tuple[Alert, ...]

    def answer(self) -> dict[str, Any]:
        """The pinned form; times are UTC, ISO 8601."""
        return {
            "cell": self._cell(),
            "head": self._head(),
            "clamps": [_clamp_answer(one) for one in self.clamps],
            "alerts": [alert_answer(alert) for alert in self.alerts],
        }

    def _open(self, *causes: str) -> str:
        found = any(a.is_open and a.cause in causes for a in self.alerts)
        return "watch" if found else "good"

    def _cell(self) -> dict[str, Any]:
        check = self.check
        known = check is not None
        return {
            "state": self._open("cell-span", "cell-zero", "reference") if known else None,
            "zero_N": check.zero_n if check else None,
            "span_error_pct": check.span_pct if check else None,
            "verdict": check.verdict if check else None,
            "checked": iso(check.at_s) if check else None,
        }

    def _head(self) -> dict[str, Any]:
        head = self.head
        return {
            "state": self._open("head-dial") if head else None,
            "error_pct": head.head_pct if head else None,
            "checked": iso(head.at_s) if head else None,
        }


def iso(at_s: float) -> str:
    """A time as it is answered.

    >>> iso(0.25)
    '1970-01-01T00:00:00.250000Z'
    """
    at = datetime.fromtimestamp(at_s, UTC)
    return at.isoformat(timespec="microseconds").replace("+00:00", "Z")


def _iso_or_none(at_s: float | None) -> str | None:
    return None if at_s is None else iso(at_s)


def alert_answer(alert: Alert) -> dict[str, Any]:
    """An alert in the pinned form."""
    return {
        "raised": iso(alert.raised_s),
        "cause": alert.cause,
        "runner_up": alert.runner_up,
        "text": alert.text,
        "do": alert.do,
        "evidence": list(alert.evidence),
        "state": alert.state,
        "closed": _iso_or_none(alert.closed_s),
        "since": iso(alert.since_s),
        "seen": _iso_or_none(alert.seen_s),
        "acted": _iso_or_none(alert.acted_s),
        "reopened": [iso(at_s) for at_s in alert.reopened_s],
    }


def _clamp_answer(one: ClampState) -> dict[str, Any]:
    return {
        "clamp": one.clamp,
        "state": one.state,
        "give_mm": one.give_mm,
        "since": _iso_or_none(one.since_s),
        "tested": _iso_or_none(one.tested_s),
        "tests": one.tests,
        "needed": one.needed,
        "reasons": list(one.reasons),
    }


def status_of(
    records: Sequence[Record],
    *,
    at_s: float,
    limits: HoldLimits | None = None,
    alerts: Sequence[Alert] | None = None,
) -> Status:
    """The state of a bench as it was known at `at_s`.

    Args:
        records: Its history; what came later is not looked at.
        at_s: Seconds UTC since 1970.
        limits: Of the clamps; None for the defaults.
        alerts: As `alerts_of` gives them up to then, where somebody has kept them.
    """
    known = [r for r in records if r.recording_s <= at_s and r.at_s <= at_s]
    if alerts is None:
        alerts = alerts_of(known)
    tests = alike([r for r in known if isinstance(r, Tested)])
    services = [r for r in known if isinstance(r, Served)]
    names = sorted({r.clamp for r in known if isinstance(r, Tested)})
    return Status(
        at_s=at_s,
        clamps=tuple(
            clamp_state(name, tests, services, limits or HoldLimits(), alerts) for name in names
        ),
        check=_last([r for r in known if isinstance(r, Checked)]),
        head=_last([r for r in known if isinstance(r, Dialled)]),
        alerts=tuple(alerts),
    )


def _last(records: Sequence[R]) -> R | None:
    return max(records, key=lambda record: record.at_s, default=None)


def clamp_state(
    clamp: str,
    tests: Sequence[Tested],
    services: Sequence[Served],
    limits: HoldLimits,
    alerts: Sequence[Alert] = (),
) -> ClampState:
    """How one clamp stands, by its latest tests since its last service.

    Until a test after a service shows the cure, it stands as it stood before.
    """
    own = [test for test in tests if test.clamp == clamp]
    served_s = [service.at_s for service in services if service.clamp == clamp]
    grades = [_grade(own[: n + 1], served_s, limits) for n in range(len(own))]
    state = grades[-1] if grades else None
    begun = next((n for n in range(len(own), 0, -1) if grades[n - 1] != state), 0)
    since_s = own[begun].at_s if own else None
    raised = [a for a in alerts if a.is_open and f"give-{clamp}" in a.watched]
    if state == "good" and any(a.cause in (f"clamp-{clamp}", "both-clamps") for a in raised):
        state, since_s = "watch", min(alert.raised_s for alert in raised)
    stretch = _stretch(own, served_s)
    return ClampState(
        clamp=clamp,
        state=state,
        give_mm=_level(stretch),
        since_s=since_s,
        tested_s=own[-1].at_s if own else None,
        reasons=own[-1].reasons if own else (),
        tests=len(stretch) if served_s and own and own[-1].at_s > max(served_s) else len(own),
        needed=max(0, BASELINE - len(stretch)),
    )


def _stretch(own: Sequence[Tested], served_s: Sequence[float]) -> list[Tested]:
    """The tests that stand for the clamp as it is at the last of them."""
    if not own:
        return []
    last_s = max((at_s for at_s in served_s if at_s < own[-1].at_s), default=float("-inf"))
    return [test for test in own if test.at_s > last_s]


def _level(stretch: Sequence[Tested]) -> float | None:
    gives = [test.give_mm for test in stretch if test.give_mm is not None]
    return median(gives[-LATEST:]) if gives else None


def _grade(own: Sequence[Tested], served_s: Sequence[float], limits: HoldLimits) -> str:
    """The clamp's verdict at the last of its tests."""
    give_mm = _level(_stretch(own, served_s))
    grades = [0]
    if give_mm is not None and give_mm >= limits.watch_mm:
        grades.append(2 if give_mm >= limits.service_mm else 1)
    # Creep and stick-slip are no matter of one more test: the last test's verdict holds.
    if any(not reason.startswith("gives") for reason in own[-1].reasons):
        grades.append(VERDICTS.index(own[-1].verdict or "good"))
    return VERDICTS[max(grades)]
