"""Device lines to readings in time; nothing lost silently, nothing filled in.

* `events`     what comes out
* `unwrap`     conversion number and clock, both of which wrap, against each other
* `counted`    the pinned wire: restarts, gaps, duplicates, faults
* `tally`      what is counted for the ledger
* `plain`      another sketch's plain lines, timed by their own clock or on arrival
* `host_tie`   the device's clock tied to the host's by the least delayed arrivals
* `timeline`   the whole, fed with arrivals and lines
"""

from tensionlog.timeline.events import (
    FaultSeen,
    Gap,
    Marked,
    Reading,
    Restart,
    TimelineEvent,
)
from tensionlog.timeline.host_tie import ClockStep, Drift
from tensionlog.timeline.timeline import Timeline

__all__ = [
    "ClockStep",
    "Drift",
    "FaultSeen",
    "Gap",
    "Marked",
    "Reading",
    "Restart",
    "Timeline",
    "TimelineEvent",
]
