"""Values day by day and the watch's own rows: kept, taken back, forgotten."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tensionlog.model.history import AlertEvent, Evidence, Happened
from tensionlog.store import Store

from .conftest import HEADER, RUN

EVENT = AlertEvent(alert="2026-03-02-clamp-B", event="raised", at_s=5.0, body={"text": "é"})
SAID = Evidence(
    job_number=1,
    clamp="A",
    releases=9,
    could_show=7,
    seen=2,
    dead_band_n=6.5,
    dead_band_mm=0.5,
    most_mm=None,
)


@pytest.fixture
def store():
    with Store.memory() as store:
        yield store


def stored(store, *, hours=0, bench="north", happened=(), events=(), watched=True) -> int:
    header = replace(HEADER, bench=bench, started=HEADER.started + timedelta(hours=hours))
    number = store.begin(header, name=f"{hours}.rec", digest=None)
    store.add_job(number, RUN)
    store.history.add(number, happened)
    if watched:
        store.history.watched(number, events)
    return number


def test_what_happened_comes_back_in_the_order_of_its_sittings(store):
    first = Happened("tested", 9.0, {"clamp": "A", "give_mm": 1.25})
    second = Happened("served", 2.0, {"clamp": "é"})
    stored(store, hours=2, happened=[second])
    stored(store, happened=[first, second])
    stored(store, bench="south", happened=[second])
    began_s = HEADER.started.timestamp()

    told = store.history.happened("north")
    assert [one.happened for one in told] == [first, second, second]
    assert [one.recording_s for one in told] == [began_s, began_s, began_s + 7200.0]
    since = HEADER.started + timedelta(hours=1)
    assert len(store.history.happened("north", since=since)) == 1
    assert len(store.history.happened("north", until=since)) == 2


def test_what_is_not_known_must_be_none(store):
    with pytest.raises(ValueError, match="JSON"):
        stored(store, happened=[Happened("tested", 1.0, {"give_mm": float("nan")})])


def test_evidence_comes_back_with_its_job(store):
    number = stored(store)
    store.history.add_evidence(number, [SAID])

    (one,) = store.history.evidence("north")
    assert (one.evidence, one.ref, one.recording_id) == (SAID, "J-17", number)
    assert store.history.clamps_of_jobs("north") == ["A"]
    assert store.history.last_evidence("north", "A")["releases"] == 9
    assert (
        store.history.last_evidence("north", "A", until=datetime(2020, 1, 1, tzinfo=UTC))
        is None
    )


def test_events_come_back_as_they_were(store):
    stored(store, events=[EVENT])

    assert store.history.events("north") == [EVENT]
    assert store.history.events("south") == []


def test_a_new_sitting_waits_for_the_watch_and_nothing_before_it_does(store):
    stored(store, events=[EVENT])
    later = stored(store, hours=2, watched=False)

    assert [s.recording_id for s in store.history.unwatched("north")] == [later]
    assert store.history.events("north") == [EVENT]


@pytest.mark.parametrize("hours", [0, 1])
def test_a_late_sitting_or_the_same_one_again_takes_back_what_is_not_older(store, hours):
    stored(store, hours=-1, events=[EVENT])
    stored(store)
    stored(store, hours=2, events=[replace(EVENT, event="closed")])
    stored(store, bench="south", hours=3, events=[EVENT])
    store.history.glanced("north", {"bench": "north"})

    stored(store, hours=hours, watched=False)

    assert store.history.events("north") == [EVENT]
    assert len(store.history.unwatched("north")) == 2
    assert store.history.unwatched("south") == []
    assert store.history.unwatched_benches() == ["north", "south"]


def test_forgetting_a_sitting_takes_back_what_came_after_it(store):
    number = stored(store)
    stored(store, hours=2, events=[EVENT])
    store.forget(number)

    assert store.history.events("north") == []
    assert len(store.history.unwatched("north")) == 1


def test_forgetting_all_leaves_no_glance(store):
    stored(store)
    store.history.glanced("north", {"bench": "north"})
    store.forget_all()

    assert "glances" not in store.dump()


def test_the_latest_sitting_and_the_last_test_of_a_clamp(store):
    assert store.history.latest("north") is None
    number = stored(store)
    store.add_answer(number, "hold", {"clamp": "A", "give_mm": 0.8})
    store.add_answer(number, "hold", {"clamp": "A", "give_mm": 0.9})

    assert store.history.latest("north") == HEADER.started
    assert store.history.last_hold("north", "A")["give_mm"] == 0.9
    assert store.history.last_hold("north", "B") is None


def test_newest_answers_of_one_bench_oldest_first(store):
    for hours, mm in ((0, 0.8), (2, 0.9), (4, 1.0)):
        number = stored(store, hours=hours)
        store.add_answer(number, "hold", {"clamp": "A", "give_mm": mm})
    until = HEADER.started + timedelta(hours=3)

    def gives(**asked):
        return [a.body["give_mm"] for a in store.history.answers("hold", "north", **asked)]

    assert gives() == [0.8, 0.9, 1.0]
    assert gives(newest=2) == [0.9, 1.0]
    assert gives(newest=1, until=until) == [0.9]
    assert store.history.answers("hold", "south") == []
