"""Tell somebody who is not at the bench of a new alert; the log never waits for that."""

import logging
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tensionlog.cli.say import warn

if TYPE_CHECKING:
    from tensionlog.model.history import AlertEvent

LOUD = ("raised", "reopened")
"""What is told; whoever closes an alert knows."""


def message(event: "AlertEvent") -> tuple[str, str]:
    """Title and text about one alert."""
    body = event.body
    back = " is back" if event.event == "reopened" else ""
    lines = [body["text"], f"Do: {body['do']}", "", *body["evidence"]]
    if body["runner_up"]:
        lines.append(f"It could also be {body['runner_up']}.")
    return f"tensionlog: {body['cause']}{back}", "\n".join(lines)


def tell_of(events: Sequence["AlertEvent"], urls: Sequence[str]) -> None:
    """Send what is new to everybody who asked for it; what fails is a warning."""
    loud = [event for event in events if event.event in LOUD]
    if urls and loud:
        for event in loud:
            send(*message(event), urls=urls)


def send(title: str, text: str, *, urls: Sequence[str]) -> bool:
    """Send one message; give whether everybody got it, and warn where not."""
    try:
        import apprise
    except ImportError:
        warn(
            "nobody is told of alerts: the notification library is not installed. "
            "'pip install tensionlog[notify]' brings it."
        )
        return False
    logging.getLogger("apprise").addHandler(logging.NullHandler())
    sent = True
    for place, url in enumerate(urls, start=1):
        service = apprise.Apprise()
        # One by one, so that a wrong address keeps no other from being told; the address
        # itself may hold a password and is not repeated.
        if not service.add(url):
            warn(f"address {place} of 'bench alerts --notify' is none that can be told.")
            sent = False
        elif not service.notify(title=title, body=text):
            warn(f"address {place} of 'bench alerts --notify' was not reached: nobody told.")
            sent = False
    return sent
