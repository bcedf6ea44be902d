"""Device lines to readings in time; nothing lost silently, nothing filled in.

* `events`     what comes out
* `unwrap`     conversion number and clock, both of which wrap, against each other
* `counted`    the pinned wire: restarts, gaps, duplicates, faults
* `block`      many samples through it at once, with the same result
* `joined`     readings in one piece
* `recent`     the latest events, among which copies are looked for
* `tally`      what is counted for the ledger
* `plain`      another sketch's plain lines, timed by their own clock or on arrival
* `host_tie`   the device's clock tied to the host's by the least delayed arrivals
* `reads`      reads of the port, each of which ties the two clocks
* `timeline`   the whole, fed with arrivals and lines
"""

from tensionlog.timeline.events import (
    FaultSeen,
    Gap,
    Marked,
    Reading,
    Readings,
    Restart,
    TimelineEvent,
)
from tensionlog.timeline.host_tie import ClockStep, Drift
from tensionlog.timeline.joined import joined
from tensionlog.timeline.timeline import Timeline

__all__ = [
    "ClockStep",
    "Drift",
    "FaultSeen",
    "Gap",
    "Marked",
    "Reading",
    "Readings",
    "Restart",
    "Timeline",
    "TimelineEvent",
    "joined",
]
