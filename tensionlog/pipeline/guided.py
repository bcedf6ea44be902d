"""A guide on a live sitting: readings as the sitting takes them, notes as it asks for them."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from tensionlog.model.guide import Said, Write
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.live import Live, Told
from tensionlog.timeline import FaultSeen, Marked, Reading

if TYPE_CHECKING:
    from tensionlog.model.recording import Header
    from tensionlog.pipeline.capture import Capture


class Heard(Protocol):
    """What a guide listens to: a sitting, or the fast look at one."""

    header: "Header"

    def listen(self, tap: Callable[[Sequence[object]], object]) -> None:
        """Have readings, faults and restarts told as they come."""

    def seconds(self, boot: int, t_s: float) -> float:
        """A reading's time on the recording's axis, seconds."""

    @property
    def carries_newtons(self) -> bool:
        """Whether readings are newtons as they come."""


class Guided:
    """Joins a guide to a sitting. Give `listen` to `Live` as its `on_sitting`.

    Args:
        guide: Not begun yet.
        capture: Where its notes go.
    """

    def __init__(self, guide: Guide, *, capture: "Capture") -> None:
        self.guide = guide
        self._capture = capture
        self._sitting: Heard | None = None
        self._said: list[Said] = []

    def listen(self, sitting: Heard) -> None:
        """Follow a sitting from its first reading on."""
        self._sitting = sitting
        sitting.listen(self._heard)

    def poll(self, live: Live, timeout_s: float) -> tuple[list[Told], list[Said]]:
        """What the sitting tells, and what the guide said meanwhile."""
        return live.poll(timeout_s), self.said()

    def said(self) -> list[Said]:
        """What the guide said since the last call."""
        said, self._said = self._said, []
        return said

    def key(self, key: str) -> None:
        """Pass a key on; what comes of it is told by the next `poll`."""
        self._take(self.guide.key(key))

    def stop(self) -> list[Said]:
        """Break the guide off where it is not over; what it said since the last `poll`."""
        self._take(self.guide.stop())
        return self.said()

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
                self._take(self.guide.reading(t_s, self._value(sitting, event.counts)))
            elif isinstance(event, Marked):
                self._take(self._button(event.name))
            elif isinstance(event, FaultSeen):
                self._take(self.guide.refuse(event.name))

    def _button(self, name: str) -> list[Said | Write]:
        """A foot switch or a button of the device; its `redo` is a note by itself."""
        if name != "redo":
            return list(self.guide.key("next")) if name == "next" else []
        return [out for out in self.guide.key("again") if not _is_redo(out)]

    def _value(self, sitting: Heard, counts: float) -> float:
        """The reading in newtons; counts where the guide is to find the scale itself."""
        calibration = sitting.header.calibration
        if calibration is None or sitting.carries_newtons or self.guide.wants_counts:
            return counts
        return float(calibration.force_n(counts))

    def _take(self, outs: Sequence[Said | Write]) -> None:
        for out in outs:
            if isinstance(out, Write):
                self._capture.note(out.body, ago_s=out.ago_s)
            else:
                self._said.append(out)


def _is_redo(out: Said | Write) -> bool:
    return isinstance(out, Write) and out.body.get("note") == "redo"
