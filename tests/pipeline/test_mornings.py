"""Zero, span and head over the mornings, as the database keeps them."""

from datetime import timedelta

import numpy as np
import pytest

from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.pipeline.mornings import drifts, marks
from tensionlog.report.drift_text import drift_sentence
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY

OLD, NEW = Calibration((0.0, 1.0)), Calibration((0.0, 1.01))


@pytest.fixture
def store():
    with Store.memory() as memory:
        yield memory


def morning(
    store: Store,
    day: float,
    *,
    span_pct: float = 0.0,
    zero_n: float = 1.0,
    calibration: Calibration = OLD,
    head_off: float | None = None,
    incomplete: bool = False,
    notes: tuple[Note, ...] = (),
) -> None:
    started = FIRST_DAY + timedelta(days=day)
    header = Header(bench="north", purpose="check", started=started, calibration=calibration)
    number = store.begin(header, name=f"{day}.rec")
    check = {
        "zero_N": zero_n, "span_error_pct": span_pct, "u_span_error_pct": 0.02,
        "incomplete": incomplete,
    }  # fmt: skip
    store.add_answer(number, "check", check)
    if head_off is not None:
        pull = {"set_N": 120.0, "peak_N": 120.0 * (1 + head_off / 100), "at_3s_N": None}
        store.add_answer(number, "head", [pull])
    store.add_notes(number, notes)


def found(store: Store) -> dict[str, dict[str, object]]:
    return {one["name"]: one for one in (d.answer() for d in drifts(store, bench="north"))}


def test_a_span_that_creeps_is_told_with_its_first_day_and_the_time_that_is_left(store):
    rng = np.random.default_rng(4)
    for day in range(24):
        creep = 0.0 if day < 12 else 0.03 * (day - 11)
        morning(store, day, span_pct=creep + rng.normal(0, 0.02), zero_n=rng.normal(1, 0.02))

    span, zero = found(store)["span"], found(store)["zero"]

    assert span["alert"] and not zero["alert"]
    assert "2026-03-12" <= str(span["since"])[:10] <= "2026-03-19"
    reached = span["tolerance_reached"]
    assert reached["t"] is not None and reached["earliest"] <= reached["t"]
    assert "LOOK, moved by +0.3" in drift_sentence(span)
    assert "24 mornings: steady" in drift_sentence(zero)


def test_a_recalibration_starts_zero_and_span_again_and_leaves_the_head(store):
    for day in range(10):
        morning(store, day, span_pct=0.4, head_off=1.0)
    for day in range(10, 13):
        morning(store, day, span_pct=0.0, head_off=1.0, calibration=NEW)

    some = found(store)

    assert (some["span"]["mornings"], some["head"]["mornings"]) == (3, 13)
    assert (
        drift_sentence(some["span"])
        == "Span of the cell: 1 more morning before it can be watched."
    )


def test_a_service_of_the_head_starts_only_the_head_again(store):
    service = Note((FIRST_DAY + timedelta(days=4.5)).timestamp(), "service",
                   {"clamp": "head", "what": "spring replaced"})  # fmt: skip
    for day in range(9):
        morning(store, day, head_off=1.0, notes=(service,) if day == 5 else ())

    some = found(store)

    assert (some["span"]["mornings"], some["head"]["mornings"]) == (9, 4)
    (mark,) = marks(store, bench="north")
    assert (mark.what, mark.kind) == ("head: spring replaced", "service")


def test_a_check_broken_off_is_no_morning(store):
    morning(store, 0)
    morning(store, 1, span_pct=5.0, incomplete=True)

    assert found(store)["span"]["mornings"] == 1
    assert drifts(store, bench="south") == []


def test_a_trend_that_never_comes_to_the_tolerance_has_no_date(store):
    for day in range(8):
        morning(store, day, span_pct=0.01 * (day % 2))

    assert found(store)["span"]["tolerance_reached"]["latest"] is None
