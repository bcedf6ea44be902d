"""A guide on a live sitting: readings as the sitting takes them, notes as it asks for them."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tensionlog.model.guide import Said, Write
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.live import Live, Told
from tensionlog.recorder.weave import iso_time
from tensionlog.timeline import FaultSeen, Reading

if TYPE_CHECKING:
    from tensionlog.model.recording import Calibration
    from tensionlog.pipeline.capture import Capture
    from tensionlog.pipeline.sitting import Sitting


class Guided:
    """Joins a guide to a sitting. Give `listen` to `Live` as its `on_sitting`.

    Args:
        guide: Not begun yet.
        capture: Where its notes go.
        calibration: Counts to newtons, or None: the guide then is told counts.
        utc_s: Host time, the capture's.
    """

    def __init__(
        self,
        guide: Guide,
        *,
        capture: "Capture",
        calibration: "Calibration | None",
        utc_s: Callable[[], float],
    ) -> None:
        self.guide = guide
        self._capture, self._utc_s = capture, utc_s
        self._calibration = calibration
        self._sitting: Sitting | None = None
        self._said: list[Said] = []

    def listen(self, sitting: "Sitting") -> None:
        """Follow a sitting from its first reading on."""
        self._sitting = sitting
        sitting.listen(self._heard)

    def poll(self, live: Live, timeout_s: float) -> tuple[list[Told], list[Said]]:
        """What the sitting tells, and what the guide said meanwhile."""
        told = live.poll(timeout_s)
        said, self._said = self._said, []
        return told, said

    def key(self, key: str) -> None:
        """Pass a key on; what comes of it is told by the next `poll`."""
        self._take(self.guide.key(key))

    def refuse(self, words: str, **values: object) -> None:
        """Say that something is wrong with the line."""
        self._take(self.guide.refuse(words, **values))

    def _heard(self, events: Sequence[object]) -> None:
        sitting = self._sitting
        if sitting is None:
            return
        for event in events:
            if type(event) is Reading:
                t_s = sitting.seconds(event.boot, event.t_s)
                self._take(self.guide.reading(t_s, self._value(event.counts)))
            elif isinstance(event, FaultSeen):
                self._take(self.guide.refuse(event.name))

    def _value(self, counts: float) -> float:
        calibration = self._calibration
        if calibration is None or (self._sitting and self._sitting.carries_newtons):
            return counts
        return float(calibration.force_n(counts))

    def _take(self, outs: Sequence[Said | Write]) -> None:
        for out in outs:
            if isinstance(out, Write):
                at_s = self._utc_s() - out.ago_s
                self._capture.note({"at": iso_time(round(at_s * 1e6)), **out.body})
            else:
                self._said.append(out)
