"""A bench all day: one port, the sitting under way, what is known of it right now.

Three threads share the work. The capture's thread reads and records and waits for nobody.
The follower takes what was recorded, finds pulls, and reads the release under way; every
change makes a new `Now`, which whoever shows it is told of. The reader works out the whole
sitting whenever a pull is over, which may take seconds, and never holds the others up.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Any

from tensionlog.model.pull import Pull
from tensionlog.model.recording import Arrival, Header, Note
from tensionlog.pipeline.alarms import Lookout, link_change
from tensionlog.pipeline.bench_capture import BenchCapture, Closed, Trouble
from tensionlog.pipeline.capture import Started
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.guided import Guided
from tensionlog.pipeline.leading import Leading
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.quick import Quick
from tensionlog.pipeline.releases import Releases
from tensionlog.pipeline.sitting import Sitting
from tensionlog.pipeline.slow import Slow
from tensionlog.recorder import Recorder
from tensionlog.recorder.weave import TEAR
from tensionlog.sources.recording import open_recording

POLL_S = 0.04

MOST_AT_ONCE = 500

WHOLE_AFTER_S = 0.2
"""The whole sitting, read in the same interpreter, waits so long: the word goes out first."""

FOLLOWER_STOPPED = (
    "the page no longer follows, though all is recorded. Start the server again: the job "
    "goes on where it was."
)

LOOKED_AT_AFTER = (
    "job-start",
    "job-end",
    "broke",
    "redo",
    "undo",
    "place",
    "clamp",
    "lift-off",
)
"""Notes that change what the whole sitting says."""

_BLANK: dict[str, Any] = {"notes": (), "events": (), "whole": None, "live": None}


class Bench:
    """Follow a bench. Use it in a `with` statement: it runs the threads.

    Attributes:
        capture: The reader's side.
        now: How it stands; replaced whole, so that any thread may read it.
    """

    def __init__(
        self,
        capture: BenchCapture,
        *,
        idle_header: Header,
        phi_max: Callable[[], float | None] = lambda: None,
        told: Callable[[Now], object] = lambda _now: None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Be ready.

        Args:
            capture: Not running yet.
            idle_header: Header by which readings are shown while nothing is recorded.
            phi_max: Upper limit of what passes round this bench's frames, as measured.
            told: Called in the follower's thread with every change.
            clock_s: Seconds that never jump; real ones, whatever the bench's clock.
        """
        self.capture = capture
        self.now = Now()
        self._idle_header, self._phi_max = idle_header, phi_max
        self.told = told
        self._stop = Event()
        self._quick = Quick(idle_header)
        self._arrived_s: float | None = None
        self._slow = Slow()
        self._resumed: dict[Path, list[Arrival | Note | bytes]] = {}
        self._releases, self._clock_s = Releases(clock_s), clock_s
        self._whole_due_s: float | None = None
        self._leading, self._lookout = Leading(), Lookout(clock_s)
        self._threads = [
            Thread(target=lambda: self.capture.run(), name="capture", daemon=True),
            Thread(target=self._follow, name="follower", daemon=True),
        ]

    def __enter__(self) -> "Bench":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.capture.stop()
        self._threads[0].join()  # what was read is written and safe
        self._stop.set()
        self._threads[1].join()
        self._slow.close()

    # -- what may be asked, from any thread --------------------------------------------

    def begin(
        self, make_recorder: Callable[[], Recorder], notes: Sequence[Mapping[str, Any]] = ()
    ) -> None:
        """Begin a recording with these notes."""
        self.capture.begin(make_recorder, notes)

    def guide(self, guide: Guide, make_recorder: Callable[[], Recorder], kind: str) -> None:
        """Begin a recording in which `guide` leads the operator; its end ends the recording."""
        self._leading.next_is(Guided(guide, capture=self.capture), kind)
        self.capture.begin(make_recorder)

    def guide_key(self, key: str) -> None:
        """Pass a key, or a number in words, on to the guide."""
        self._leading.key(key)

    def resume(self, path: Path, make_recorder: Callable[[], Recorder]) -> None:
        """Go on in an unfinished recording: what it holds is read first."""
        items = list(open_recording(path))
        # A torn last line is closed in the file; here as well, or it spoils the next one.
        torn = bool(items) and isinstance(items[-1], bytes) and not items[-1].endswith(b"\n")
        self._resumed[path] = [*items, TEAR] if torn else items
        self.capture.begin(make_recorder)

    @property
    def force(self) -> float | None:
        """What the cell reads now above empty; counts where there is no calibration."""
        return self._quick.level()

    @property
    def is_calibrated(self) -> bool:
        """Whether readings are newtons."""
        return self._quick.calibrated

    def trace_since(self, t_s: float) -> list[tuple[float, float]]:
        """Readings above empty since `t_s`, seconds and force."""
        quick = self._quick
        idle = quick.idle or 0.0
        return [(t, force - idle) for t, force in list(quick.recent) if t > t_s]

    # -- the follower --------------------------------------------------------------------

    def _follow(self) -> None:
        try:
            while not self._stop.is_set():
                for item in self._waiting():
                    self._take(item)
                self._look()
                self._collect()
                self._lead()
                self._alarm()
        finally:
            if not self._stop.is_set():  # a bug: recording goes on, and the pages say so
                self._change(trouble=FOLLOWER_STOPPED)

    def _waiting(self) -> list[object]:
        items: SimpleQueue[Any] = self.capture.items
        got: list[object] = []
        with suppress(Empty):
            got.append(items.get(timeout=POLL_S))
            while len(got) < MOST_AT_ONCE:
                got.append(items.get_nowait())
        return got

    def _take(self, item: object) -> None:
        match item:
            case bytes():
                self._feed(item)
            case Arrival(at_s):
                self._arrived_s = at_s
                self._quick.arrived(at_s)
                self._slow.put(item)
            case Note():
                self._quick.note(item)
                self._slow.put(item)
                self._change(notes=(*self.now.notes, item), **self._stands())
                if item.name in LOOKED_AT_AFTER:
                    self._slow.look()
            case Started(path):
                self._start(path)
            case Closed(paths):
                self._close(paths)
            case Trouble(why):
                self._change(trouble=why)
            case _:
                if changes := link_change(item, self.now.link):
                    self._change(**changes)

    def _feed(self, data: bytes) -> None:
        quick = self._quick
        before = (quick.stretches, quick.is_loaded, len(quick.marks))
        quick.feed(data)
        self._lookout.came(quick)
        self._slow.put(data)
        if self.now.link != "ok" and quick.recent:
            self._change(link="ok", link_text="")
        after = (quick.stretches, quick.is_loaded, len(quick.marks))
        if after == before or self.now.path is None:
            return
        if after[0] != before[0]:
            self._let_off()
        names = tuple(mark.name for mark in quick.marks)
        self._change(events=names, **self._stands())

    def _start(self, path: Path) -> None:
        reader = open_recording(path)
        self._quick = Quick(reader.header)
        self._slow.begin(Sitting(reader.header, phi_max=self._phi_max()))
        self._releases.begin(self._quick, self._slow)
        goes_on = path in self._resumed
        self._change(
            catching_up=goes_on,
            path=path,
            header=reader.header,
            standing=self._quick.standing(),
            trouble=None,
            **_BLANK,
        )
        guiding = self._leading.begin(self._quick)
        if guiding is not None:
            self._change(guiding=guiding)
        if goes_on:
            for item in self._resumed.pop(path):
                self._take(item)
            self._slow.look()
            self._change(catching_up=False)

    def _close(self, paths: tuple[Path, ...]) -> None:
        self._whole_due_s = None
        whole = self._slow.finish()
        self._quick = Quick(self._idle_header)
        closed = None if whole is None else (paths, whole)
        self._change(path=None, header=None, standing=None, closed=closed, **_BLANK)

    def _alarm(self) -> None:
        alarms = self._lookout.look(self._quick, self.capture.recorder)
        if alarms != self.now.alarms:
            self._change(alarms=alarms)

    # -- the release under way, and a guided test --------------------------------------------

    def _look(self) -> None:
        """Read the hold under way, if it may have stepped and it is time to."""
        if self.now.path is not None:
            pull = self._releases.under_way()
            if pull is not None:
                self._tell(pull, final=False)

    def _let_off(self) -> None:
        """A pull is over: read it by itself at once, and have the sitting read as a whole."""
        pull = self._releases.let_off()
        if pull is not None:
            self._tell(pull, final=True)
        self._whole_due_s = self._clock_s() + WHOLE_AFTER_S

    def _tell(self, pull: Pull, *, final: bool) -> None:
        self._change(live=pull, live_final=final, seen_at_s=self._arrived_s)

    def _lead(self) -> None:
        """Tell what the guide said; its end ends the recording."""
        guiding = self._leading.step(self.now.guiding)
        if guiding is not None:
            self._change(guiding=guiding)
            if guiding.done is not None:
                self.capture.end()

    # -- the slow reading ------------------------------------------------------------------

    def _collect(self) -> None:
        if self._whole_due_s is not None and self._clock_s() >= self._whole_due_s:
            self._whole_due_s = None
            self._slow.look()
        whole = self._slow.collect()
        if whole is not None and self.now.path is not None:
            self._change(whole=whole)

    def _stands(self) -> dict[str, Any]:
        return {"standing": self._quick.standing() if self.now.path else None}

    def _change(self, **changes: Any) -> None:
        self.now = replace(self.now, change=self.now.change + 1, **changes)
        if not self.now.catching_up:  # half of a job is told to nobody
            self.told(self.now)
