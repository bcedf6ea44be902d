"""Alerts in the database: every step an event, folded back into the same alerts."""

import json
from dataclasses import replace

from tensionlog.clamps.alerts import Alert
from tensionlog.pipeline.alert_life import Alerts, alert_of, body_of

ALERT = Alert(
    raised_s=1773000000.0,
    cause="clamp-B",
    runner_up=None,
    text="t",
    do="d",
    evidence=("a", "b"),
    since_s=1772000000.0,
    watched={"give-B": 0.9},
)


def test_an_alert_survives_json():
    again = replace(ALERT, reopened_s=(1.0, 2.0), state="seen", seen_s=3.0)

    assert alert_of(json.loads(json.dumps(body_of(again)))) == again


def test_every_step_is_an_event_and_the_events_give_the_alerts_back():
    alerts = Alerts()
    events = alerts.become([ALERT], at_s=1773000100.0)
    (raised,) = alerts.all
    assert raised == ALERT
    events += alerts.become([replace(raised, state="seen", seen_s=5.0)], at_s=5.0)
    closed = replace(alerts.all[0], state="closed", closed_s=6.0)
    events += alerts.become([closed, replace(ALERT, cause="string")], at_s=7.0)
    back = replace(alerts.all[0], state="raised", closed_s=None, reopened_s=(8.5,))
    events += alerts.become([back, *alerts.all[1:]], at_s=8.0)

    assert [event.event for event in events] == [
        "raised",
        "seen",
        "closed",
        "raised",
        "reopened",
    ]
    assert alerts.all[0].reopened_s == (8.5,)
    assert Alerts(events).named == alerts.named


def test_nothing_new_is_no_event():
    alerts = Alerts()
    alerts.become([ALERT], at_s=1.0)

    assert alerts.become(alerts.all, at_s=2.0) == []


def test_two_alerts_of_a_day_and_cause_have_two_names():
    alerts = Alerts()
    alerts.become([ALERT, ALERT], at_s=1773000000.0)

    assert list(alerts.named) == ["2026-03-08-clamp-B", "2026-03-08-clamp-B-2"]
