"""A sitting into the database; the same for a live one, a replayed one and a rebuild."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionlog.pipeline.answers import clean
from tensionlog.pipeline.bench_records import evidence_of, happened_of
from tensionlog.pipeline.sitting import Whole
from tensionlog.pipeline.windows import Tests

if TYPE_CHECKING:
    from tensionlog.store import Store

Answer = Mapping[str, Any] | Sequence[Mapping[str, Any]]


def keep(store: "Store", whole: Whole, *, name: str, digest: str | None) -> int:
    """Store a sitting in one transaction, in place of an earlier version of it.

    Args:
        store: An open database.
        whole: The sitting, read with its traces.
        name: Name of the recording, see `sitting_name`.
        digest: SHA-256 of its uncompressed bytes.

    Returns:
        The sitting's number in the database.

    Raises:
        StoreError: The database does not take it; nothing of it was stored.
    """
    with store.transaction():
        number = store.begin(whole.header, name=name, digest=digest)
        for run in whole.runs:
            store.add_job(number, run)
        store.add_pulls(number, whole.found)
        store.add_notes(number, whole.notes)
        for kind, answer in _answers(whole.tests):
            store.add_answer(number, kind, clean(answer))
        store.history.add(number, happened_of(whole))
        store.history.add_evidence(number, evidence_of(whole))
        store.finish(
            number,
            whole.ledger,
            drift_ppm=whole.drift_ppm,
            boot_starts_s=whole.boot_starts_s,
        )
    return number


def sitting_name(path: Path) -> str:
    """Name of a recording, the same before and after it is compressed.

    >>> sitting_name(Path("day/north.rec.gz"))
    'north.rec'
    """
    return path.name.removesuffix(".gz")


def _answers(tests: Tests) -> Iterator[tuple[str, Answer]]:
    if tests.check is not None:
        yield "check", tests.check
    if tests.holds:
        yield "hold", tests.holds
    if tests.head is not None:
        yield "head", tests.head
    if tests.turn is not None:
        yield "turn", tests.turn
    if tests.stiffness is not None:
        yield "stiffness", tests.stiffness
    if tests.calibration is not None:
        yield "calibration", tests.calibration
