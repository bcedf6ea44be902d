"""What one sitting adds to the history of its bench, into the database and back.

Records of `tensionlog.clamps.records` go in under the name of their class; whoever asks
how a bench stands gets the same records back, without reading a sitting again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final

from tensionlog.clamps.evidence import evidence_of as evidence_about
from tensionlog.clamps.evidence import releases_of_mains
from tensionlog.clamps.records import (
    Checked,
    Dialled,
    Record,
    Served,
    Strung,
    Tested,
    Told,
    checked_of,
    dialled_of,
    strung_of,
    tested_of,
)
from tensionlog.model.history import Evidence, Happened, StoredHappened
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Calibration, Note
from tensionlog.pipeline.sitting import Whole

KINDS: Final[Mapping[str, type]] = {
    kind.__name__.lower(): kind for kind in (Checked, Dialled, Tested, Strung, Served, Told)
}

TOLD: Final = {"alert-seen": "seen", "alert-acted": "acted"}
"""Notes about an alert, and what each says of it."""

WHEN: Final = ("recording_s", "at_s")


def happened_of(whole: Whole) -> list[Happened]:
    """Everything that a sitting says about its bench."""
    return [
        Happened(type(record).__name__.lower(), record.at_s, _body(record))
        for record in _records(whole)
    ]


def _body(record: Record) -> dict[str, Any]:
    return {key: value for key, value in asdict(record).items() if key not in WHEN}


def records_of(stored: Sequence[StoredHappened]) -> list[Record]:
    """The records that `happened_of` made; what another version added is left out."""
    return [
        KINDS[one.kind](
            recording_s=recording_s,
            at_s=one.at_s,
            **{key: _value(value) for key, value in one.body.items()},
        )
        for recording_s, one in stored
        if one.kind in KINDS
    ]


def _value(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _records(whole: Whole) -> Iterator[Record]:
    header, tests = whole.header, whole.tests
    start_s = header.started.timestamp()
    begun_s = _begun_s(tests.check, start_s)
    if tests.check is not None and not tests.check.get("problem"):
        yield checked_of(
            tests.check,
            recording_s=start_s,
            at_s=begun_s,
            calibration=scale_name(header.calibration),
        )
    if tests.head is not None:
        locks = header.head in ("lockout", None)
        dialled = dialled_of(tests.head, recording_s=start_s, at_s=begun_s, locks=locks)
        if dialled is not None:
            yield dialled
    for hold in tests.holds:
        yield tested_of(hold, recording_s=start_s, at_s=_begun_s(hold, start_s))
    for run in whole.runs:
        yield strung_of(
            job=whole.jobs[run.number - 1],
            pulls=_pulls(whole, run.number),
            phi_max=run.phi_max,
            recording_s=start_s,
            at_s=start_s + run.started_s,
        )
    for note in whole.notes:
        yield from _noted(note, start_s)


def _begun_s(answer: Mapping[str, Any] | None, start_s: float) -> float:
    """When a test was begun, seconds UTC; the sitting's start where it does not say."""
    at = None if answer is None else answer.get("at")
    return start_s if at is None else datetime.fromisoformat(at).timestamp()


def scale_name(calibration: Calibration | None) -> str:
    """Name of the scale in force: another slope is another scale, another zero is not.

    >>> scale_name(Calibration((-9.2, 1.0964912e-4)))
    '1.0965e-04'
    """
    if calibration is None:
        return ""
    return " ".join(f"{c:.4e}" for c in calibration.coefficients[1:])


def _noted(note: Note, start_s: float) -> Iterator[Record]:
    """Services, and what people said to alerts."""
    body = note.body
    if note.name == "service":
        what = str(body.get("what", "serviced"))
        clamp = str(body.get("clamp", "?"))
        yield Served(recording_s=start_s, at_s=note.at_s, clamp=clamp, what=what)
    raised_s = _time_s(body.get("raised"))
    if note.name in TOLD and raised_s is not None:
        state = TOLD[note.name]
        yield Told(recording_s=start_s, at_s=note.at_s, raised_s=raised_s, state=state)


def _time_s(text: object) -> float | None:
    try:
        return datetime.fromisoformat(str(text)).timestamp()
    except ValueError:
        return None


def evidence_of(whole: Whole) -> tuple[Evidence, ...]:
    """What the jobs of a sitting say about each clamp, by their mains."""
    found: list[Evidence] = []
    for run in whole.runs:
        pulls, job = _pulls(whole, run.number), whole.jobs[run.number - 1]
        releases = releases_of_mains(pulls=pulls, job=job, phi_max=run.phi_max)
        found += evidence_about(releases, job_number=run.number)
    return tuple(found)


def _pulls(whole: Whole, number: int) -> list[Pull]:
    return [found.pull for found in whole.found if found.job_number == number]
