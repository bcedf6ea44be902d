"""Finished sittings: kept in the database, and looked up again by whoever asks.

All work is done in one thread of its own, so that a slow disk holds nobody up.
"""

from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from tensionlog.errors import TensionlogError
from tensionlog.model.history import AlertEvent
from tensionlog.model.recording import Header
from tensionlog.pipeline.keeping import keep, sitting_name
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.phi import Phi
from tensionlog.pipeline.sitting import Whole
from tensionlog.pipeline.views import job_view
from tensionlog.pipeline.watch import keep_watch
from tensionlog.report.view import JobView
from tensionlog.sources.recording import open_recording

if TYPE_CHECKING:
    from tensionlog.check.head import Advice
    from tensionlog.report.bench_view import BenchView
    from tensionlog.report.check_view import CheckView
    from tensionlog.store import Store, StoredAnswer, StoredJob, StoredNote

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A job in a list.

    Attributes:
        name: What it is asked for by.
        started: When its sitting began, UTC.
        ticket: As it was ordered.
        is_ended: Whether it was finished.
    """

    name: str
    started: datetime
    ticket: Mapping[str, Any]
    is_ended: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """The answer of one test: a check or a hold.

    Attributes:
        started: When its sitting began, UTC.
        body: The answer in the pinned form.
    """

    started: datetime
    body: Mapping[str, Any]


class Archive:
    """The database of a bench. Close it when the bench is closed.

    Args:
        path: Of the database, or None: nothing is kept and nothing found.
        failed: Told, in words, when something could not be kept.

    Attributes:
        stored: Recording and name of the job that was stored last, or None.
        on_stored: Called when one was, in the archive's thread.
        on_alerts: Told, there too, what a closed sitting did to the bench's alerts.
    """

    def __init__(
        self, path: Path | None, *, failed: Callable[[str], object] = lambda _why: None
    ) -> None:
        self.path, self._failed = path, failed
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="archive")
        self._tickets: dict[str, Mapping[str, Any]] = {}
        self._last_kept: object = None
        self.stored: tuple[Path, str] | None = None
        self.on_stored: Callable[[], object] = lambda: None
        self.on_alerts: Callable[[list[AlertEvent]], object] = lambda _events: None

    def close(self) -> None:
        """Finish what was begun."""
        self._worker.shutdown(wait=True)

    # -- keeping ---------------------------------------------------------------------

    def kept(self, now: Now) -> None:
        """Store a job that was ended, and every sitting that was closed."""
        whole: Whole | None = None
        paths: tuple[Path, ...] = ()
        if now.path is None and now.closed is not None:
            paths, whole = now.closed
        elif now.path is not None and now.whole is not None and _is_ended(now.whole):
            paths, whole = (now.path,), now.whole
        if whole is None or whole is self._last_kept or self.path is None:
            return
        self._last_kept = whole
        self._worker.submit(self._keep, whole, paths, closed=now.path is None)

    def _keep(self, whole: Whole, paths: tuple[Path, ...], *, closed: bool) -> None:
        from tensionlog.store import Store

        assert self.path is not None  # kept() does not come here without one
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with Store(self.path) as store:
                digest = open_recording(paths[0]).digest() if closed else None
                if len(paths) == 1:
                    number = keep(store, whole, name=sitting_name(paths[0]), digest=digest)
                    self._told(paths[0], whole, number)
                else:
                    _keep_pieces(store, paths)
                if closed:
                    self.on_alerts(keep_watch(store))
        except TensionlogError as error:
            self._failed(str(error))

    def _told(self, path: Path, whole: Whole, recording_id: int) -> None:
        if whole.runs:
            self.stored = path, f"{recording_id}-{whole.runs[-1].number}"
            self.on_stored()

    # -- looking up --------------------------------------------------------------------

    def phi_max(self, bench: str) -> float | None:
        """Upper limit of what passes round this bench's frames, as it was measured last."""
        return self._ask(lambda store: Phi(store).in_force(bench, datetime.now(UTC)), None)

    def jobs(self) -> list[Listed]:
        """Every job, the latest first."""
        nothing: list[Listed] = []
        listed = self._ask(lambda store: [_listed(job) for job in store.jobs()], nothing)
        self._tickets = {job.name: job.ticket for job in listed}
        return sorted(listed, key=lambda job: job.started, reverse=True)

    def ticket(self, name: str) -> Mapping[str, Any] | None:
        """Ticket of a job that was listed before, or None."""
        return self._tickets.get(name)

    def view(self, name: str, *, unit: str) -> JobView | None:
        """What a report or a slip says of a job; None where there is no such job."""
        return self._ask(lambda store: _view(store, name, unit), None)

    def clamp_page(self, bench: str, *, at: datetime) -> "BenchView | None":
        """What the maintenance page of a bench shows; None before its first sitting."""
        from tensionlog.pipeline.bench_view import bench_view

        return self._ask(
            lambda store: bench_view(store, bench, at=at) if _has(store, bench) else None, None
        )

    def check_page(self, bench: str, *, unit: str) -> "CheckView | None":
        """What the page of the latest check shows; None before the first."""
        from tensionlog.pipeline.check_views import check_view

        def asked(store: "Store") -> "CheckView | None":
            made = any(a.bench == bench for a in store.answers("check"))
            return check_view(store, bench=bench, unit=unit) if made else None

        return self._ask(asked, None)

    def dial(
        self, ticket: Mapping[str, Any], *, bench: str, at: datetime
    ) -> "Mapping[str, Advice]":
        """What to dial for a ticket, by part of the bed; empty where the head is not known."""
        from tensionlog.pipeline.dial_advice import dial_advice

        nothing: Mapping[str, Advice] = {}
        return self._ask(lambda store: dial_advice(store, ticket, bench=bench, at=at), nothing)

    def tests(self, kind: str, bench: str) -> list[Tested]:
        """Answers of one kind (`check`, `hold`) of a bench, the latest first."""
        nothing: list[StoredAnswer] = []
        stored = self._ask(lambda store: store.answers(kind), nothing)
        own = [Tested(started=a.started, body=a.body) for a in stored if a.bench == bench]
        return own[::-1]

    def services(self, bench: str) -> list[tuple[datetime, Mapping[str, Any]]]:
        """Services of the bench's clamps, the latest first."""
        nothing: list[StoredNote] = []
        stored = self._ask(lambda store: store.notes("service"), nothing)
        own = [s for s in stored if s.bench == bench]
        return [(datetime.fromtimestamp(s.note.at_s, UTC), s.note.body) for s in own[::-1]]

    def status(self, bench: str) -> Mapping[str, Any] | None:
        """How cell, head and clamps stand, as the watch left it; None where nobody knows."""
        from tensionlog.store.glance import glance

        return None if self.path is None else glance(self.path, bench)

    def _ask(self, question: Callable[["Store"], Answer], nothing: Answer) -> Answer:
        """Ask the database in its own thread and wait; nothing where there is none."""
        if self.path is None or not self.path.exists():
            return nothing
        future: Future[Answer] = self._worker.submit(self._asked, question)
        return future.result()

    def _asked(self, question: Callable[["Store"], Answer]) -> Answer:
        from tensionlog.store import Store

        assert self.path is not None  # _ask does not come here without one
        with Store(self.path, must_exist=True) as store:
            return question(store)


def _has(store: "Store", bench: str) -> bool:
    return any(r.header.bench == bench for r in store.recordings())


def _is_ended(whole: Whole) -> bool:
    return bool(whole.runs) and whole.runs[-1].ended_s is not None


def _keep_pieces(store: "Store", paths: tuple[Path, ...]) -> None:
    """A sitting that a failing disk tore into several recordings is kept one by one."""
    from tensionlog.pipeline.replay import Replayed, replay_all

    for item in replay_all(list(paths), store=store):
        if not isinstance(item, Replayed):
            raise item


def _name(job: "StoredJob") -> str:
    return f"{job.recording_id}-{job.run.number}"


def _listed(job: "StoredJob") -> Listed:
    return Listed(
        name=_name(job),
        started=job.started,
        ticket=job.run.raw,
        is_ended=job.run.ended_s is not None,
    )


def _view(store: "Store", name: str, unit: str) -> JobView | None:
    recording, _, number = name.partition("-")
    if not (recording.isdecimal() and number.isdecimal() and len(name) < 40):
        return None
    job = store.job(recording_id=int(recording), number=int(number))
    return None if job is None else job_view(store, job, unit=unit)


def unfinished(folder: Path, *, bench: str, since: datetime) -> Path | None:
    """The recording of a job that its server was stopped in, or None.

    Only the latest job of the bench can be gone on with: the one before it was left on
    purpose. One older than `since` was, too.
    """
    found: list[tuple[datetime, Path]] = []
    for path in folder.glob("*.rec"):
        header = _header(path)
        if header is not None and header.bench == bench and header.purpose == "job":
            found.append((header.started, path))
    if not found or max(found)[0] < since:
        return None
    path = max(found)[1]
    return None if _is_over(path) else path


def _header(path: Path) -> Header | None:
    try:
        return open_recording(path).header
    except TensionlogError:
        return None


def _is_over(path: Path) -> bool:
    from tensionlog.model.recording import Note

    names = [item.name for item in open_recording(path) if isinstance(item, Note)]
    return not names or any(name in ("hand-over", "given-up") for name in names)
