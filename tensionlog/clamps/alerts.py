"""The life of an alert: raised, seen, acted on, closed by a test that shows the cure.

Alerts are plain values; every step makes a new one. The same thing is never raised twice:
while an alert of a cause is open, a finding of that cause is the same thing, and one that
comes back soon after its cure opens the old alert again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tensionlog.clamps.causes import Finding
from tensionlog.clamps.series import DAY_S, Series
from tensionlog.clamps.shifts import kind_of
from tensionlog.clamps.words import do_of, evidence_of, text_of

STATES = ("raised", "seen", "acted", "closed")
COMES_BACK_S = 14.0 * DAY_S
"""A cause that shows again within this time was never cured."""

QUIET_TESTS = 3
"""So many tests in a row at the old level close an alert on which nobody acted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """One alert; times are seconds UTC since 1970.

    Attributes:
        raised_s: Time of the recording that raised it.
        cause: Who did it, or `cannot-tell`.
        runner_up: The next cause, or None.
        text: What has happened.
        do: What to do next.
        evidence: What it rests on.
        since_s: When it is thought to have begun.
        watched: The series that moved, with the level each had before.
        state: One of `STATES`.
        seen_s: When somebody saw it.
        acted_s: When somebody did something about it.
        closed_s: Time of the test that showed the cure.
        reopened_s: Times at which it came back.
    """

    raised_s: float
    cause: str
    runner_up: str | None
    text: str
    do: str
    evidence: tuple[str, ...]
    since_s: float
    watched: Mapping[str, float]
    state: str = "raised"
    seen_s: float | None = None
    acted_s: float | None = None
    closed_s: float | None = None
    reopened_s: tuple[float, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether it still asks for something."""
        return self.state != "closed"


def alert_of(finding: Finding) -> Alert:
    """A new alert for a certain finding."""
    best = finding.best
    return Alert(
        raised_s=finding.at_s,
        cause=finding.cause,
        runner_up=_runner_up(finding),
        text=text_of(finding),
        do=do_of(finding),
        evidence=evidence_of(finding),
        since_s=best.since.at_s,
        watched={name: best.shifts[name].level for name in _clearly_moved(finding)},
    )


def _clearly_moved(finding: Finding) -> tuple[str, ...]:
    """Of the series that moved those which show it by themselves.

    A cell that reads another force moves the head's readings too, but where those scatter
    by more than that nobody could ever show by them that it was cured.
    """
    shifts, moved = finding.best.shifts, finding.best.moved
    clear = tuple(n for n in moved if abs(shifts[n].size) > 2.0 * shifts[n].u)
    return clear or moved


def _runner_up(finding: Finding) -> str | None:
    """The next cause; where one cannot tell, the one it looks most like."""
    if finding.cause == "cannot-tell":
        return finding.best.cause
    return finding.runner_up.cause if finding.runner_up else None


def raised(alerts: Sequence[Alert], finding: Finding | None) -> tuple[Alert, ...]:
    """The alerts after a finding: one more, the same, or an old one open again."""
    if finding is None or not finding.certain or _covered(alerts, finding):
        return tuple(alerts)
    for place, old in reversed(list(enumerate(alerts))):
        if old.closed_s is not None and _same(old, finding):
            if finding.at_s - old.closed_s > COMES_BACK_S:
                break
            back = replace(
                old,
                state="raised",
                closed_s=None,
                reopened_s=(*old.reopened_s, finding.at_s),
                evidence=evidence_of(finding),
            )
            return (*alerts[:place], back, *alerts[place + 1 :])
    return (*alerts, alert_of(finding))


def _same(alert: Alert, finding: Finding) -> bool:
    return alert.cause in (finding.cause, finding.best.cause)


def _covered(alerts: Sequence[Alert], finding: Finding) -> bool:
    """Whether an open alert already speaks of what has moved."""
    moved = set(finding.best.moved)
    return any(a.is_open and (_same(a, finding) or moved <= a.watched.keys()) for a in alerts)


def seen(alert: Alert, *, at_s: float) -> Alert:
    """Somebody saw it."""
    if alert.state != "raised":
        return alert
    return replace(alert, state="seen", seen_s=at_s)


def acted(alert: Alert, *, at_s: float) -> Alert:
    """Somebody did something about it, such as a service; a test must now show the cure."""
    if not alert.is_open:
        return alert
    return replace(alert, state="acted", acted_s=at_s)


def closed_if_cured(alert: Alert, series: Mapping[str, Series], *, at_s: float) -> Alert:
    """Close an alert if the tests up to `at_s` show the cure.

    After something was done one test at the old level is enough for every series that
    had moved; without, three in a row.
    """
    if not alert.is_open:
        return alert
    begun_s = alert.raised_s if alert.acted_s is None else alert.acted_s
    begun_s = max(begun_s, *alert.reopened_s, begun_s)
    needed = QUIET_TESTS if alert.acted_s is None else 1
    cured = [
        _cured(series[name].until(at_s), level, begun_s, needed)
        for name, level in alert.watched.items()
        if name in series
    ]
    if not cured or not all(cured):
        return alert
    return replace(alert, state="closed", closed_s=at_s)


def _cured(series: Series, level: float, begun_s: float, needed: int) -> bool:
    """Whether the last tests since `begun_s` are back at `level`."""
    after = [v for t, v in zip(series.times_s, series.values, strict=True) if t > begun_s]
    room = kind_of(series.name).material
    last = after[-needed:]
    if len(last) < needed:
        return False
    if series.name.startswith("give-"):
        return all(value - level < room for value in last)
    return all(abs(value - level) < room for value in last)


def after_recording(
    alerts: Sequence[Alert],
    series: Mapping[str, Series],
    finding: Finding | None,
    *,
    at_s: float,
) -> tuple[Alert, ...]:
    """One step of the watch: close what is cured, then raise what is new."""
    now = tuple(closed_if_cured(alert, series, at_s=at_s) for alert in alerts)
    return raised(now, finding)
