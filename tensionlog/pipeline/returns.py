"""A racket that came back: its job, its clamps' state that day, the pulls round the break."""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from tensionlog.clamps.status import iso
from tensionlog.errors import StoreError
from tensionlog.pipeline.answers import clean, pull_answer
from tensionlog.pipeline.status import bench_status

if TYPE_CHECKING:
    from tensionlog.store import Store, StoredJob, StoredPull

AROUND: Final = 2
"""Pulls shown on either side of the string that broke, in the order in which they were made."""

TICKET: Final = (
    "owner", "frame", "string", "string_mains", "string_crosses", "gauge_mm", "reel",
    "reel_mains", "reel_crosses", "target_mains_N", "target_crosses_N", "operator",
)  # fmt: skip


def returned(
    store: "Store", ref: str, *, broke: str | None, bed: int | None = None
) -> dict[str, Any]:
    """What the log knows of a racket that came back.

    Args:
        store: A database that is caught up.
        ref: Reference of its job.
        broke: Position of the string that broke, or None: it felt soft.
        bed: Which bed of that job; None for the last.

    Raises:
        StoreError: There is no such job, or no such string in it.
    """
    job = _job(store, ref, bed)
    pulls = [pull for pull in store.pulls_of(job) if not pull.pull.void]
    at_s = job.started.timestamp() + job.run.started_s
    day = bench_status(store, job.bench, at=job.started)
    answer: dict[str, Any] = clean(
        {
            "ref": ref,
            "bed": job.run.bed,
            "bench": job.bench,
            "strung": iso(at_s),
            "ticket": {key: job.run.raw[key] for key in TICKET if key in job.run.raw},
            "clamps": [_clamp(clamp) for clamp in day["clamps"]],
            "cell": {key: day["cell"][key] for key in ("verdict", "checked", "state")},
            "alerts_then": [
                {key: a[key] for key in ("alert", "cause", "text", "state", "raised")}
                for a in day["alerts"]
                if a["state"] != "closed"
            ],
            "alerts_since": _since(store, job),
            "said_by_job": [
                {"clamp": one.evidence.clamp, "seen": one.evidence.seen,
                 "could_show": one.evidence.could_show, "most_mm": one.evidence.most_mm}
                for one in store.history.evidence(job.bench)
                if one.recording_id == job.recording_id
                and one.evidence.job_number == job.run.number
            ],
            "broke": broke,
            "pulls": _around(pulls, broke, ref),
            "most_lost": _most_lost(pulls),
        }
    )  # fmt: skip
    return answer


def _job(store: "Store", ref: str, bed: int | None) -> "StoredJob":
    found = [job for job in store.jobs(ref=ref) if bed is None or job.run.bed == bed]
    if not found:
        latest = ", ".join(job.ref or "?" for job in store.jobs()[-5:]) or "none"
        raise StoreError(f"there is no job {ref!r}. The latest are {latest}.")
    return found[-1]


def _clamp(clamp: dict[str, Any]) -> dict[str, Any]:
    kept = ("clamp", "state", "give_mm", "u_give_mm", "tested", "served", "alert")
    return {key: clamp[key] for key in kept}


def _since(store: "Store", job: "StoredJob") -> list[dict[str, Any]]:
    """Alerts raised within a month after the job that may have begun before it."""
    until: datetime = job.started + timedelta(days=30)
    later = bench_status(store, job.bench, at=until)["alerts"]
    strung = iso(job.started.timestamp())
    return [
        {key: alert[key] for key in ("alert", "cause", "text", "raised", "since")}
        for alert in later
        if alert["raised"] > strung and alert["since"] <= strung
    ]


def _around(pulls: "list[StoredPull]", broke: str | None, ref: str) -> list[dict[str, Any]]:
    """The pull of the string that broke and those about it: all that touched that string."""
    if broke is None:
        return []
    places = [n for n, one in enumerate(pulls) if one.pull.position == broke]
    if not places:
        raise StoreError(
            f"job {ref} has no string {broke!r}. Strings are L1…, R1… and X1…, as pulled."
        )
    held = [n for n, one in enumerate(pulls) if one.pull.held_position == broke]
    shown = {
        place
        for centre in places
        for place in range(centre - AROUND, centre + AROUND + 1)
        if 0 <= place < len(pulls)
    }
    return [
        {"number": pulls[n].number, **pull_answer(pulls[n].pull)}
        for n in sorted(shown | set(held))
    ]


def _most_lost(pulls: "list[StoredPull]") -> dict[str, Any] | None:
    """The string that had lost most as its clamp was opened, as far as that was seen."""
    seen = [one.pull for one in pulls if one.pull.at_least_lost]
    if not seen:
        return None
    most = max(seen, key=lambda pull: pull.at_least_lost or 0.0)
    return {
        "position": most.held_position,
        "clamp": most.clamp_opened,
        "at_least_lost_N": most.at_least_lost,
        "at_least_give_mm": most.at_least_give_mm,
    }
