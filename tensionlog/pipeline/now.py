"""The bench at one moment: what a page is drawn from."""

from dataclasses import dataclass, replace
from pathlib import Path

from tensionlog.model.guide import Ask, Done, Reading, Refused, Said, Took
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Header, Note
from tensionlog.pipeline.alarms import NOTHING, Alarms
from tensionlog.pipeline.identity import Stranger
from tensionlog.pipeline.quick import Standing
from tensionlog.pipeline.sitting import Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Guiding:
    """How a guided test stands.

    Attributes:
        kind: `check` or `hold`.
        ask: What the operator shall do now, or None before the first reading.
        reading: The cell as the guide read it last, or None.
        took: What was captured, in order.
        refused: What is wrong with the step under way, or None.
        done: How it ended, or None while it goes on.
        news: Counts what was said, mere readings left out.
        latest: The latest of these.
    """

    kind: str = "check"
    ask: Ask | None = None
    reading: Reading | None = None
    took: tuple[Took, ...] = ()
    refused: Refused | None = None
    done: Done | None = None
    news: int = 0
    latest: Said | None = None

    def after(self, said: Said) -> "Guiding":
        """The same once the guide has said one thing more."""
        if isinstance(said, Reading):
            return replace(self, reading=said)
        on = replace(self, news=self.news + 1, latest=said)
        match said:
            case Ask():
                return replace(on, ask=said, refused=None, reading=None)
            case Took():
                return replace(on, took=(*self.took, said), refused=None)
            case Refused():
                return replace(on, refused=said)
            case _:
                return replace(on, done=said)


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """The bench at one moment.

    Attributes:
        link: `ok`, `quiet`, `gone`, `stranger`, `ended`, or `waiting` before the first
            reading.
        link_text: Why, where it is not `ok`.
        stranger: The device that answered last and is not this bench's, or None.
        alarms: What else must be told at once.
        trouble: Why a recording is not safe, or None.
        path: The recording under way, or None.
        header: Its header, or None.
        notes: Its notes in the order of the file.
        events: Buttons of the device that were worked, by name, oldest first.
        standing: Pulls in their places, or None without a recording.
        whole: The sitting as it was last read as a whole, or None.
        live: The pull under way or just let off, judged, or None.
        live_final: Whether the head has let it off.
        seen_at_s: Host time (UTC, s) of the newest sample behind `live`.
        closed: The recording finished last, with what was in it, or None.
        guiding: The guided test under way, or the one that was closed last, or None.
        catching_up: Whether what is told was recorded before: a sitting is gone on with.
        change: Counts up with every change.
    """

    link: str = "waiting"
    link_text: str = ""
    stranger: Stranger | None = None
    alarms: Alarms = NOTHING
    trouble: str | None = None
    path: Path | None = None
    header: Header | None = None
    notes: tuple[Note, ...] = ()
    events: tuple[str, ...] = ()
    standing: Standing | None = None
    whole: Whole | None = None
    live: Pull | None = None
    live_final: bool = False
    seen_at_s: float | None = None
    closed: tuple[tuple[Path, ...], Whole] | None = None
    guiding: Guiding | None = None
    catching_up: bool = False
    change: int = 0
