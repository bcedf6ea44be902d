"""A bench all day: one port, the sitting under way, what is known of it right now.

Three threads share the work. The capture's thread reads and records and waits for nobody.
The follower takes what was recorded, finds pulls, and reads the release under way; every
change makes a new `Now`, which whoever shows it is told of. The reader works out the whole
sitting whenever a pull is over, which may take seconds, and never holds the others up.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Any

from tensionlog.model.pull import Pull
from tensionlog.model.recording import Arrival, Header, Note
from tensionlog.pipeline.bench_capture import BenchCapture, Closed, Trouble
from tensionlog.pipeline.capture import Gone, Heard, Quiet, Started, StreamEnded
from tensionlog.pipeline.judge import judge_pulls
from tensionlog.pipeline.quick import Quick, Standing
from tensionlog.pipeline.sitting import Looked, Sitting, Whole
from tensionlog.plan import Placed
from tensionlog.pulls.shape import Shape
from tensionlog.recorder import Recorder
from tensionlog.recorder.weave import TEAR
from tensionlog.sources.recording import open_recording

POLL_S = 0.04
LOOK_EVERY_S = 0.04
"""A release under way is looked for so often at most, and only while the force falls."""

MOST_AT_ONCE = 500

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

REST_SHARE = 1.5
"""After a look the follower rests so many times as long as it took."""

LOOK_ON_S = 0.6
"""So long after a step was seen its numbers are refined; then they stand till the let-off."""


_BLANK: dict[str, Any] = {"notes": (), "events": (), "whole": None, "live": None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """The bench at one moment.

    Attributes:
        link: `ok`, `quiet`, `gone`, or `waiting` before the first reading.
        link_text: Why, where it is not `ok`.
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
        catching_up: Whether what is told was recorded before: a sitting is gone on with.
        change: Counts up with every change.
    """

    link: str = "waiting"
    link_text: str = ""
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
    catching_up: bool = False
    change: int = 0


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
        self._clock_s = clock_s
        self._stop = Event()
        self._quick = Quick(idle_header)
        self._arrived_s: float | None = None
        self._slow = _Slow()
        self._resumed: dict[Path, list[Arrival | Note | bytes]] = {}
        self._state: tuple[object, ...] = ()
        self._look_at_s = 0.0
        self._seen_since_s: float | None = None
        self._read_last: Shape | None = None
        self._threads = [
            Thread(target=self._capture_run, name="capture", daemon=True),
            Thread(target=self._follow, name="follower", daemon=True),
        ]

    def __enter__(self) -> "Bench":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.capture.stop()
        self._threads[0].join(5.0)
        self._stop.set()
        self._threads[1].join(5.0)
        self._slow.close()

    # -- what may be asked, from any thread --------------------------------------------

    def begin(
        self, make_recorder: Callable[[], Recorder], notes: Sequence[Mapping[str, Any]] = ()
    ) -> None:
        """Begin a recording with these notes."""
        self.capture.begin(make_recorder, notes)

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

    def _capture_run(self) -> None:
        self.capture.run()

    def _follow(self) -> None:
        while not self._stop.is_set():
            for item in self._waiting():
                self._take(item)
            self._look()
            self._collect()

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
                self._link(item)

    def _feed(self, data: bytes) -> None:
        quick = self._quick
        before = (quick.stretches, quick.is_loaded, len(quick.marks))
        quick.feed(data)
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
        self._seen_since_s, goes_on = None, path in self._resumed
        self._change(
            catching_up=goes_on,
            path=path,
            header=reader.header,
            standing=self._quick.standing(),
            trouble=None,
            **_BLANK,
        )
        if goes_on:
            for item in self._resumed.pop(path):
                self._take(item)
            self._slow.look()
            self._change(catching_up=False)

    def _close(self, paths: tuple[Path, ...]) -> None:
        whole = self._slow.finish()
        self._quick = Quick(self._idle_header)
        closed = None if whole is None else (paths, whole)
        self._change(path=None, header=None, standing=None, closed=closed, **_BLANK)

    def _link(self, item: object) -> None:
        match item:
            case Quiet(for_s):
                self._change(link="quiet", link_text=f"{for_s:.0f}")
            case Gone(why) | StreamEnded(why):
                self._change(link="gone", link_text=why)
            case Heard():
                self._change(link="ok", link_text="")

    # -- the release under way -------------------------------------------------------------

    def _look(self) -> None:
        """Read the hold under way, if it may have stepped and it is time to."""
        quick, now_s = self._quick, self._clock_s()
        if self.now.path is None or not quick.is_loaded or now_s < self._look_at_s:
            return
        if self._seen_since_s is not None and now_s - self._seen_since_s > LOOK_ON_S:
            return
        if self._seen_since_s is None and not quick.has_stepped():
            return
        shape = quick.shape_under_way()
        pull = None if shape is None else self._judged(shape)
        took_s = self._clock_s() - now_s
        self._look_at_s = now_s + took_s + max(LOOK_EVERY_S, REST_SHARE * took_s)
        if pull is not None and pull.seen:
            self._seen_since_s = self._seen_since_s or now_s
            self._tell(pull, final=False)

    def _let_off(self) -> None:
        """A pull is over: read it by itself at once, and have the sitting read as a whole."""
        self._seen_since_s = None
        shape = self._quick.last_shape()
        if shape is not None and shape is not self._read_last:
            self._read_last = shape
            pull = self._judged(shape)
            if pull is not None:
                self._tell(pull, final=True)
        self._slow.look()

    def _judged(self, shape: Shape) -> Pull | None:
        """One pull by itself, judged after those that the last look has read."""
        looked, quick = self._slow.looked, self._quick
        if looked is None:
            return None
        kept = quick.read(shape, looked.lesson)
        one, standing = quick.timed(kept), quick.standing()
        place = _place_at(standing, one.start_s, within_s=1.0)
        if place is None:
            return None
        pairs = [
            (earlier, where)
            for earlier in looked.timed
            if earlier.start_s < one.start_s - 0.5
            and (where := _place_at(standing, earlier.start_s, within_s=0.5)) is not None
        ]
        laws = (kept.law,) * (len(pairs) + 1)
        return judge_pulls(
            [*(timed for timed, _ in pairs), one],
            [*(where for _, where in pairs), place],
            standing.jobs,
            replace(looked.bench, laws=laws, calibrated=quick.calibrated),
        )[-1]

    def _tell(self, pull: Pull, *, final: bool) -> None:
        self._change(
            live=pull,
            live_final=final,
            seen_at_s=self._arrived_s,
        )

    # -- the slow reading ------------------------------------------------------------------

    def _collect(self) -> None:
        whole = self._slow.collect()
        if whole is not None and self.now.path is not None:
            self._change(whole=whole)

    def _stands(self) -> dict[str, Any]:
        return {"standing": self._quick.standing() if self.now.path else None}

    def _change(self, **changes: Any) -> None:
        self.now = replace(self.now, change=self.now.change + 1, **changes)
        self.told(self.now)


def _place_at(standing: Standing, start_s: float, *, within_s: float) -> Placed | None:
    """Place of the lap that began at `start_s`."""
    near = (lap.place for lap in standing.laps if abs(lap.start_s - start_s) < within_s)
    return next(near, None)


class _Slow:
    """The sitting as a whole, in a thread of its own; what it is told is done in order."""

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="reader")
        self._sitting: Sitting | None = None
        self._look: Future[Whole] | None = None
        self._again = False
        self._pending: list[object] = []

    @property
    def looked(self) -> Looked | None:
        """What the latest look has taught."""
        return None if self._sitting is None else self._sitting.looked

    def begin(self, sitting: Sitting) -> None:
        """Begin another sitting."""
        self._sitting, self._look, self._again, self._pending = sitting, None, False, []

    def put(self, item: object) -> None:
        """Have an item of the recording fed before the next look."""
        if self._sitting is not None:
            self._pending.append(item)

    def look(self) -> None:
        """Have the sitting read as a whole, after the look under way if there is one."""
        if self._sitting is None:
            return
        if self._look is not None:
            self._again = True
            return
        items, self._pending = self._pending, []
        self._look = self._worker.submit(_fed_and_read, self._sitting, items, False)

    def collect(self) -> Whole | None:
        """What a look gave since the last call, or None."""
        look = self._look
        if look is None or not look.done():
            return None
        self._look = None
        if self._again:
            self._again = False
            self.look()
        return look.result()

    def finish(self) -> Whole | None:
        """Everything there was, the recording being closed; waits for it."""
        sitting, items = self._sitting, self._pending
        self.begin_none()
        if sitting is None:
            return None
        return self._worker.submit(_fed_and_read, sitting, items, True).result()

    def begin_none(self) -> None:
        """Nothing is recorded now."""
        self._sitting, self._look, self._again, self._pending = None, None, False, []

    def close(self) -> None:
        """Let the thread end."""
        self._worker.shutdown(wait=True, cancel_futures=True)


def _fed_and_read(sitting: Sitting, items: Sequence[object], ends: bool) -> Whole:
    for item in items:
        if isinstance(item, bytes):
            sitting.feed(item)
        elif isinstance(item, Arrival):
            sitting.arrived(item.at_s)
        elif isinstance(item, Note):
            sitting.note(item)
    if ends:
        sitting.close()
    return sitting.whole()
