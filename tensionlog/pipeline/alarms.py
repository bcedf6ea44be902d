"""What whoever stands at the bench must be told now, and until it is over."""

from collections.abc import Callable
from typing import Any, NamedTuple

from tensionlog.pipeline.capture import Gone, Heard, Quiet, Stranger, StreamEnded
from tensionlog.pipeline.live import SOUND_WITHIN_S
from tensionlog.pipeline.quick import Quick
from tensionlog.pipeline.trouble import OffRate, Troubles, Unsafe
from tensionlog.recorder import Recorder

PAUSE_S = 0.5
"""What comes after such a silence may begin with lines that are no samples."""


class Alarms(NamedTuple):
    """What stands against the bench beside its link.

    Attributes:
        unsafe: What comes is not on the disk, or None.
        off_rate: The device's rate is another than stated, or None.
        senseless: Whether bytes come and none of them make a sample.
    """

    unsafe: Unsafe | None = None
    off_rate: OffRate | None = None
    senseless: bool = False


NOTHING = Alarms()


class Lookout:
    """Watches the recorder and the line.

    Args:
        clock_s: Seconds that never jump.
    """

    def __init__(self, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._quick: Quick | None = None
        self._troubles, self._alarms = Troubles(), NOTHING
        self._samples, self._since_s, self._came_s = 0, clock_s(), clock_s()

    def came(self, quick: Quick) -> None:
        """Bytes came, and were fed to `quick`."""
        self._meet(quick)
        now_s = self._clock_s()
        if quick.samples != self._samples or now_s - self._came_s > PAUSE_S:
            self._samples, self._since_s = quick.samples, now_s
        self._came_s = now_s
        is_senseless = now_s - self._since_s >= SOUND_WITHIN_S
        self._alarms = self._alarms._replace(senseless=is_senseless)

    def look(self, quick: Quick, recorder: Recorder | None) -> Alarms:
        """How it stands now; a recording that begins or ends begins anew."""
        self._meet(quick)
        if recorder is not None:
            for disk in self._troubles.of_disk(recorder.state()):
                unsafe = disk if isinstance(disk, Unsafe) else None
                self._alarms = self._alarms._replace(unsafe=unsafe)
        for rate in self._troubles.of_rate(
            samples=quick.samples,
            rate_hz=quick.timeline.rate_hz,
            stated_hz=quick.header.rate_hz,
        ):
            off = rate if isinstance(rate, OffRate) else None
            self._alarms = self._alarms._replace(off_rate=off)
        return self._alarms

    def _meet(self, quick: Quick) -> None:
        if quick is not self._quick:
            self._quick, self._samples = quick, quick.samples
            self._troubles, self._alarms = Troubles(), NOTHING
            self._since_s = self._clock_s()


def link_change(item: object, link: str) -> dict[str, Any]:
    """What an event of the line changes of the bench's `link`; nothing for any other."""
    match item:
        case Quiet(for_s):
            return {"link": "quiet", "link_text": f"{for_s:.0f}"}
        case Stranger():
            return {"link": "stranger", "stranger": item}
        case Gone() if link == "stranger":  # its port was closed because it is one
            return {}
        case Gone(why):
            return {"link": "gone", "link_text": why}
        case StreamEnded(why):
            return {"link": "ended", "link_text": why}
        case Heard():
            return {"link": "ok", "link_text": ""}
    return {}
