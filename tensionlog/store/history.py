"""The history of a bench: what happened day by day, and what the watch made of it.

The watch looks at sittings in the order of their times. A sitting that comes late, or
comes again, takes back what was made of all that are not older, so that the history ends
up the same in whatever order sittings were stored.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from sqlite_utils import Database

from tensionlog.model.history import AlertEvent, Evidence, Happened, StoredHappened, Unwatched
from tensionlog.store.columns import checked, utc_of, utc_text
from tensionlog.store.jsontext import exact_json_text
from tensionlog.store.rows import StoredAnswer, StoredEvidence
from tensionlog.store.schema import answer_table_of
from tensionlog.store.sentences import said_plainly
from tensionlog.store.transactions import insert, writing

_EVIDENCE = (
    "job_number", "clamp", "releases", "could_show", "seen",
    "dead_band_n", "dead_band_mm", "most_mm",
)  # fmt: skip


def unwatch(db: Database, bench: str, started_utc: str) -> None:
    """Take back what the watch made of a bench's sittings from a time on.

    Inside a `writing` block, before the sitting that makes it necessary is stored.
    """
    since = (bench, started_utc)
    db.execute(
        "DELETE FROM alert_events WHERE recording_id IN (SELECT recording_id FROM recordings"
        " WHERE bench = ? AND started_utc >= ?)",
        since,
    )
    db.execute(
        "UPDATE recordings SET watched = 0"
        " WHERE bench = ? AND started_utc >= ? AND watched = 1",
        since,
    )
    db.execute("DELETE FROM glances WHERE bench = ?", [bench])


class History:
    """The history's part of an open database; see `Store.history`."""

    def __init__(self, db: Database, label: str) -> None:
        self._db, self._label = db, label

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with said_plainly(self._label), writing(self._db):
            yield

    def _query(self, sql: str, values: Sequence[object] = ()) -> list[dict[str, Any]]:
        with said_plainly(self._label):
            return list(self._db.query(sql, values))

    # -- writing ---------------------------------------------------------------------

    def add(self, recording_id: int, happened: Sequence[Happened]) -> None:
        """Add what a sitting says about the bench, once, in order."""
        rows = [
            {"kind": one.kind, "at_utc_s": one.at_s, "body": exact_json_text(one.body)}
            for one in happened
        ]
        with self._writing():
            insert(self._db, "history", _numbered(recording_id, rows))

    def add_evidence(self, recording_id: int, evidence: Sequence[Evidence]) -> None:
        """Add what the jobs of a sitting, stored before, said about the clamps."""
        rows = [
            checked({"recording_id": recording_id} | {k: getattr(one, k) for k in _EVIDENCE})
            for one in evidence
        ]
        with self._writing():
            insert(self._db, "clamp_evidence", rows)

    def watched(self, recording_id: int, events: Sequence[AlertEvent]) -> None:
        """Say that the watch has looked at a sitting, and what it made of it."""
        with self._writing():
            insert(self._db, "alert_events", _numbered(recording_id, map(_event_row, events)))
            self._db.execute(
                "UPDATE recordings SET watched = 1 WHERE recording_id = ?", [recording_id]
            )

    def glanced(self, bench: str, answer: Mapping[str, Any]) -> None:
        """Keep how a bench stands, for whoever asks next."""
        row = {"bench": bench, "answer": exact_json_text(answer)}
        with self._writing():
            self._db.execute("DELETE FROM glances WHERE bench = ?", [bench])
            insert(self._db, "glances", [checked(row)])

    # -- reading ---------------------------------------------------------------------

    def benches(self) -> list[str]:
        """Benches that have sittings, the one of the latest sitting last."""
        rows = self._query(
            "SELECT bench FROM recordings GROUP BY bench ORDER BY max(started_utc), bench"
        )
        return [row["bench"] for row in rows]

    def unwatched_benches(self) -> list[str]:
        """Benches with sittings that the watch has not looked at, or without a glance."""
        rows = self._query(
            "SELECT DISTINCT bench FROM recordings WHERE watched = 0"
            " OR bench NOT IN (SELECT bench FROM glances) ORDER BY bench"
        )
        return [row["bench"] for row in rows]

    def unwatched(self, bench: str) -> list[Unwatched]:
        """Sittings that the watch has not looked at, oldest first."""
        rows = self._query(
            "SELECT recording_id, started_utc FROM recordings"
            " WHERE bench = ? AND watched = 0 ORDER BY started_utc",
            [bench],
        )
        return [
            Unwatched(r["recording_id"], utc_of(r["started_utc"]).timestamp()) for r in rows
        ]

    def happened(
        self, bench: str, *, since: datetime | None = None, until: datetime | None = None
    ) -> list[StoredHappened]:
        """What sittings of a bench said about it, in the order of their times.

        Args:
            bench: Which bench.
            since: Those of earlier sittings are left out.
            until: Those of later ones.
        """
        rows = self._query(
            "SELECT started_utc, kind, at_utc_s, body FROM history"
            " JOIN recordings USING (recording_id)"
            " WHERE bench = ? AND started_utc >= ? AND started_utc <= ?"
            " ORDER BY started_utc, number",
            [bench, "" if since is None else utc_text(since), _until(until)],
        )
        return [
            StoredHappened(
                utc_of(row["started_utc"]).timestamp(),
                Happened(row["kind"], row["at_utc_s"], json.loads(row["body"])),
            )
            for row in rows
        ]

    def events(self, bench: str, *, until: datetime | None = None) -> list[AlertEvent]:
        """What happened to the alerts of a bench, oldest first; up to a sitting's time."""
        rows = self._query(
            "SELECT alert, event, at_utc_s AS at_s, e.body FROM alert_events e"
            " JOIN recordings USING (recording_id) WHERE bench = ? AND started_utc <= ?"
            " ORDER BY started_utc, number",
            [bench, _until(until)],
        )
        return [AlertEvent(**{**row, "body": json.loads(row["body"])}) for row in rows]

    def answers(
        self, kind: str, bench: str, *, until: datetime | None = None, newest: int = -1
    ) -> list[StoredAnswer]:
        """Answers of one kind and bench, oldest first.

        Args:
            kind: As in `Store.add_answer`; the pulls of a head check count one by one.
            bench: Which bench.
            until: Those of later sittings are left out.
            newest: How many at most; the older ones are left out.
        """
        rows = self._query(
            "SELECT recording_id, bench, started_utc, number, answer"
            f" FROM {answer_table_of(kind)} JOIN recordings USING (recording_id)"
            " WHERE bench = ? AND started_utc <= ?"
            " ORDER BY started_utc DESC, number DESC LIMIT ?",
            [bench, _until(until), newest],
        )
        return [
            StoredAnswer(
                recording_id=row["recording_id"],
                bench=row["bench"],
                started=utc_of(row["started_utc"]),
                number=row["number"],
                body=json.loads(row["answer"]),
            )
            for row in reversed(rows)
        ]

    def latest(self, bench: str) -> datetime | None:
        """Time of the latest sitting of a bench, or None."""
        rows = self._query(
            "SELECT max(started_utc) AS latest FROM recordings WHERE bench = ?", [bench]
        )
        return None if rows[0]["latest"] is None else utc_of(rows[0]["latest"])

    def last_hold(
        self, bench: str, clamp: str, *, until: datetime | None = None
    ) -> dict[str, Any] | None:
        """The answer of the latest hold test of one clamp, or None."""
        rows = self._query(
            "SELECT answer FROM holds JOIN recordings USING (recording_id)"
            " WHERE bench = ? AND clamp = ? AND started_utc <= ?"
            " ORDER BY started_utc DESC, number DESC LIMIT 1",
            [bench, clamp, _until(until)],
        )
        return json.loads(rows[0]["answer"]) if rows else None

    def clamps_of_jobs(self, bench: str) -> list[str]:
        """Clamps that the jobs of a bench have told something about."""
        rows = self._query(
            "SELECT DISTINCT clamp FROM clamp_evidence JOIN recordings USING (recording_id)"
            " WHERE bench = ? ORDER BY clamp",
            [bench],
        )
        return [row["clamp"] for row in rows]

    def last_evidence(
        self, bench: str, clamp: str, *, until: datetime | None = None
    ) -> dict[str, Any] | None:
        """What the latest job said about one clamp, or None."""
        rows = self._query(
            f"SELECT {', '.join(_EVIDENCE)} FROM clamp_evidence"
            " JOIN recordings USING (recording_id)"
            " WHERE bench = ? AND clamp = ? AND started_utc <= ?"
            " ORDER BY started_utc DESC, job_number DESC LIMIT 1",
            [bench, clamp, _until(until)],
        )
        return rows[0] if rows else None

    def evidence(self, bench: str) -> list[StoredEvidence]:
        """What jobs said about the clamps of a bench, oldest first."""
        rows = self._query(
            f"SELECT recording_id, started_utc, ref, {', '.join('e.' + k for k in _EVIDENCE)}"
            " FROM clamp_evidence e JOIN recordings USING (recording_id) JOIN jobs USING"
            " (recording_id) WHERE jobs.number = e.job_number AND bench = ?"
            " ORDER BY started_utc, job_number, clamp",
            [bench],
        )
        return [
            StoredEvidence(
                recording_id=row.pop("recording_id"),
                started=utc_of(row.pop("started_utc")),
                ref=row.pop("ref"),
                evidence=Evidence(**row),
            )
            for row in rows
        ]


def _until(at: datetime | None) -> str:
    return "9999" if at is None else utc_text(at)


def _numbered(recording_id: int, rows: Any) -> list[dict[str, Any]]:
    return [
        checked({"recording_id": recording_id, "number": number, **row})
        for number, row in enumerate(rows, start=1)
    ]


def _event_row(event: AlertEvent) -> dict[str, Any]:
    return {
        "alert": event.alert,
        "event": event.event,
        "at_utc_s": event.at_s,
        "body": exact_json_text(event.body),
    }
