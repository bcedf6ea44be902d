"""Alerts as the database keeps them: each step of a life is an event with the whole alert."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from datetime import UTC, datetime
from typing import Any

from tensionlog.clamps.alerts import Alert
from tensionlog.model.history import AlertEvent


class Alerts:
    """The alerts of one bench, each under its name, oldest first."""

    def __init__(self, events: Sequence[AlertEvent] = ()) -> None:
        self._by_name: dict[str, Alert] = {}
        for event in events:
            self._by_name[event.alert] = alert_of(event.body)

    @property
    def named(self) -> Mapping[str, Alert]:
        """Every alert by its name."""
        return self._by_name

    @property
    def all(self) -> tuple[Alert, ...]:
        """Every alert ever raised."""
        return tuple(self._by_name.values())

    def become(self, later: Sequence[Alert], *, at_s: float) -> list[AlertEvent]:
        """Take over what became of the alerts, in their order and new ones behind.

        Args:
            later: The same alerts after a step, and those that it raised.
            at_s: Time of the sitting that made the step.

        Returns:
            What happened.
        """
        names = list(self._by_name)
        events = []
        for place, alert in enumerate(later):
            old = self._by_name[names[place]] if place < len(names) else None
            if old == alert:
                continue
            event = _event(old, alert)
            name = names[place] if old is not None else self._new_name(alert)
            self._by_name[name] = alert
            events.append(AlertEvent(alert=name, event=event, at_s=at_s, body=body_of(alert)))
        return events

    def _new_name(self, alert: Alert) -> str:
        day = datetime.fromtimestamp(alert.raised_s, UTC).date().isoformat()
        name, number = f"{day}-{alert.cause}", 1
        while name in self._by_name:
            number += 1
            name = f"{day}-{alert.cause}-{number}"
        return name


def _event(old: Alert | None, new: Alert) -> str:
    if old is None:
        return "raised"
    if len(new.reopened_s) > len(old.reopened_s):
        return "reopened"
    return new.state


def body_of(alert: Alert) -> dict[str, Any]:
    """An alert as JSON; `alert_of` gives it back."""
    return {**asdict(alert), "watched": dict(alert.watched)}


def alert_of(body: Mapping[str, Any]) -> Alert:
    """The alert that `body_of` wrote."""
    known = {field.name for field in fields(Alert)}
    kept = {key: _value(value) for key, value in body.items() if key in known}
    return Alert(**kept)


def _value(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
