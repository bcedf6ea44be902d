"""The database: sittings in, nouns out. Derived from recordings, so never the only copy."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

from tensionlog.model.pull import Trace
from tensionlog.model.recording import Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.store import opening, reads, safety, table, writes
from tensionlog.store.dump import dump_lines
from tensionlog.store.history import History
from tensionlog.store.rows import (
    StoredAnswer,
    StoredJob,
    StoredNote,
    StoredPull,
    StoredRecording,
)
from tensionlog.store.sentences import said_plainly
from tensionlog.store.transactions import writing

if TYPE_CHECKING:
    import pandas as pd


_MEMORY: Final = ":memory:"


class Store:
    """One open database, for one thread. Use it in a `with` statement.

    Each write is whole or not at all, and lasts through a power cut once it returns;
    inside `transaction()` the same holds for all of them together.

    Whatever the disk or another program spoils is raised as `StoreError`.

    Attributes:
        history: Values day by day, and what the watch over the bench made of them.
    """

    def __init__(self, path: Path | str, *, must_exist: bool = False) -> None:
        """Open the database at `path`, or make it there.

        Raises:
            StoreError: What is there is not ours, or newer than this version, or lies on
                a network disk (nothing was changed); or there is nothing and
                `must_exist` is set.
        """
        self._label = str(path)
        if path == _MEMORY:
            self._db = opening.open_memory()
        else:
            self._db = opening.open_file(Path(path), must_exist=must_exist)
        self.history = History(self._db, self._label)

    @classmethod
    def memory(cls) -> Self:
        """Make an empty database in memory, gone when it is closed."""
        return cls(_MEMORY)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the database; an unfinished transaction is undone."""
        self._db.close()

    # -- writing ---------------------------------------------------------------------

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Make all writes inside one: a replayed recording, or a whole rebuild."""
        with said_plainly(self._label), writing(self._db):
            yield

    def begin(self, header: Header, *, name: str, digest: str | None = None) -> int:
        """Begin a sitting and give its number; an earlier version of it is removed.

        Args:
            header: Bench and `started` tell sittings apart, and make the number.
            name: Name of the recording's file.
            digest: SHA-256 of its uncompressed bytes in hex; None while it grows.

        Raises:
            StoreError: Another sitting has the same number (one chance in 9·10¹⁵ a pair).
        """
        with said_plainly(self._label):
            return writes.begin(self._db, header, name=name, digest=digest)

    def add_job(self, recording_id: int, run: JobRun) -> None:
        """Add a job of the sitting; added again, it says what is known by now.

        In a live sitting it is added at its start, since pulls name it.
        """
        with said_plainly(self._label):
            writes.add_job(self._db, recording_id, run)

    def add_pulls(self, recording_id: int, founds: Sequence[Found]) -> None:
        """Add pulls of the sitting; one added again is replaced (when it became void).

        Raises:
            ValueError: There is no such sitting, or a number is NaN.
        """
        with said_plainly(self._label):
            writes.add_pulls(self._db, recording_id, founds)

    def add_notes(self, recording_id: int, notes: Sequence[Note]) -> None:
        """Add notes of the sitting after those that are there."""
        with said_plainly(self._label):
            writes.add_notes(self._db, recording_id, notes)

    def add_answer(
        self,
        recording_id: int,
        kind: str,
        answer: Mapping[str, Any] | Sequence[Mapping[str, Any]],
    ) -> None:
        """Add an answer of the sitting after those of its kind that are there.

        Args:
            recording_id: The sitting's.
            kind: `check`, `hold`, `head`, `turn`, `stiffness` or `calibration`.
            answer: One answer, or a list of them as a head check gives it.

        Raises:
            ValueError: The kind is unknown, or a number is NaN.
        """
        with said_plainly(self._label):
            writes.add_answer(self._db, recording_id, kind, answer)

    def finish(
        self,
        recording_id: int,
        ledger: Ledger,
        *,
        digest: str | None = None,
        drift_ppm: float | None = None,
        boot_starts_s: Sequence[float] = (),
    ) -> None:
        """Close the account of a sitting.

        Args:
            recording_id: The sitting's.
            ledger: What the device counted against what arrived.
            digest: SHA-256 of the file's uncompressed bytes, where `begin` had none.
            drift_ppm: Device clock against host clock, parts per million.
            boot_starts_s: Start of each boot, seconds from the recording's first sample.
        """
        with said_plainly(self._label):
            writes.finish(
                self._db,
                recording_id,
                ledger,
                digest=digest,
                drift_ppm=drift_ppm,
                boot_starts_s=boot_starts_s,
            )

    def forget(self, recording_id: int) -> None:
        """Remove a sitting and all that hangs on it."""
        with said_plainly(self._label):
            writes.forget(self._db, recording_id)

    def forget_all(self) -> None:
        """Remove every sitting, as the first step of a rebuild inside `transaction`."""
        with said_plainly(self._label):
            writes.forget_all(self._db)

    # -- reading ---------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[None]:
        # One snapshot for all queries of an answer, though another program writes.
        with said_plainly(self._label), self._db.atomic():
            yield

    def recordings(self) -> list[StoredRecording]:
        """Every sitting, oldest first."""
        with self._reading():
            return reads.recordings(self._db)

    def jobs(
        self,
        *,
        ref: str | None = None,
        owner: str | None = None,
        frame: str | None = None,
        string: str | None = None,
        reel: str | None = None,
        operator: str | None = None,
        sport: str | None = None,
        bench: str | None = None,
    ) -> list[StoredJob]:
        """Jobs that fit everything given, oldest first.

        `ref` and `bench` must fit whole; of the others a piece is enough, whatever its
        case. `string` and `reel` may be those of the mains or of the crosses.
        """
        asked = {
            "ref": ref,
            "owner": owner,
            "frame": frame,
            "string": string,
            "reel": reel,
            "operator": operator,
            "sport": sport,
            "bench": bench,
        }
        wanted = {name: piece for name, piece in asked.items() if piece is not None}
        with self._reading():
            return reads.jobs(self._db, wanted)

    def job(
        self,
        *,
        recording_id: int | None = None,
        number: int | None = None,
        ref: str | None = None,
    ) -> StoredJob | None:
        """The latest job that fits everything given, or None."""
        with self._reading():
            return reads.job(self._db, recording_id=recording_id, number=number, ref=ref)

    def pulls_of(self, job: StoredJob) -> list[StoredPull]:
        """Pulls of a job in the order made, void ones too."""
        with self._reading():
            return reads.pulls(self._db, job.recording_id, job.run.number)

    def pulls_in(self, recording_id: int) -> list[StoredPull]:
        """Pulls of a sitting in the order made, those outside any job too."""
        with self._reading():
            return reads.pulls(self._db, recording_id, None)

    def trace_of(self, pull: StoredPull) -> Trace:
        """Samples of a pull, as they were given.

        Raises:
            StoreError: The bytes in the database are damaged.
        """
        with self._reading():
            return reads.trace(self._db, pull.recording_id, pull.number)

    def notes(self, name: str | None = None) -> list[StoredNote]:
        """Notes in the order of their times, of one name (`service`) where given."""
        with self._reading():
            return reads.notes(self._db, name)

    def answers(self, kind: str) -> list[StoredAnswer]:
        """Answers of one kind, oldest first; kinds as in `add_answer`."""
        with self._reading():
            return reads.answers(self._db, kind)

    def pulls_table(self) -> "pd.DataFrame":
        """Every pull with its job and its sitting, a row each, oldest first."""
        with self._reading():
            return table.pulls_table(self._db)

    # -- the file --------------------------------------------------------------------

    def dump(self) -> str:
        """The whole content as text: equal text means equal content, and back."""
        with self._reading():
            return "".join(f"{line}\n" for line in dump_lines(self._db))

    def dump_sha256(self) -> str:
        """SHA-256 of `dump` in hex, without holding the text in memory."""
        digest = sha256()
        with self._reading():
            for line in dump_lines(self._db):
                digest.update(f"{line}\n".encode())
        return digest.hexdigest()

    def quick_check(self) -> list[str]:
        """What SQLite finds wrong with the file, a line each; empty where it is sound."""
        with said_plainly(self._label):
            return safety.problems(self._db)

    def compact(self) -> None:
        """Write the file anew, so that what was erased stands nowhere in it any more.

        Raises:
            StoreError: Another program holds it, or the disk has no room for a copy.
        """
        with said_plainly(self._label):
            safety.compact(self._db)

    def backup_to(self, path: Path | str) -> None:
        """Copy the database to `path` whole, also while another program writes to it.

        Raises:
            StoreError: `path` is a database in use, or cannot be written.
        """
        with said_plainly(self._label):
            safety.backup(self._db, Path(path))
