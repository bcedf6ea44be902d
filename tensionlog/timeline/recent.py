"""The latest events, among which a copy of a sample is looked for."""

from collections import deque
from collections.abc import Iterable, Sequence

from tensionlog.timeline.events import Reading, Readings, TimelineEvent

REMEMBERED = 64
"""So many events back a copy is known for one: a link repeats a buffer, not an hour."""

Said = tuple[int, float, int | str]
"""Boot, device time, and counts or the name of a fault."""


class Recent:
    """What was given out last; the events being made are looked through as well."""

    def __init__(self) -> None:
        self._events: deque[TimelineEvent] = deque(maxlen=REMEMBERED)

    def add(self, out: Sequence[TimelineEvent]) -> None:
        """Take over events that are given out."""
        for event in out[-REMEMBERED:]:
            if event.__class__ is Readings:
                self._events.extend(_one_by_one(event))
            else:
                self._events.append(event)

    def clear(self) -> None:
        """Forget them: the device started again."""
        self._events.clear()

    def holds(self, said: Said, out: Sequence[TimelineEvent]) -> bool:
        """Whether the same is among the latest, those of `out` included."""
        left = REMEMBERED
        for event in reversed(out):
            if isinstance(event, Readings):
                if _has(event, said, left):
                    return True
                left -= len(event.t_s)
            elif event == said:
                return True
            else:
                left -= 1
            if left <= 0:
                return False
        return said in list(self._events)[-left:]


def _has(readings: Readings, said: Said, last: int) -> bool:
    boot, t_s, counts = said
    times_s = readings.t_s[-last:]
    if boot != readings.boot or t_s < times_s[0]:
        return False
    return bool(((times_s == t_s) & (readings.counts[-last:] == counts)).any())


def _one_by_one(readings: Readings) -> Iterable[Reading]:
    boot, t_s, counts = readings
    last = zip(t_s[-REMEMBERED:].tolist(), counts[-REMEMBERED:].tolist(), strict=True)
    return [Reading(boot, *both) for both in last]
