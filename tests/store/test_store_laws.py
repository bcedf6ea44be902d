"""The laws of the store.

* What goes in comes out.
* The same sittings give the same database: in any order, twice, or after failures.
* A write is whole or not at all, wherever it fails.
"""

from contextlib import closing
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.errors import StoreError
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.store import Store, opening, reads, writes
from tensionlog.store.dump import dump_lines
from tensionlog.store.transactions import writing

pytestmark = pytest.mark.long

# A shared computer may stall in any example, and each of them opens databases.
_calm = settings(deadline=None, max_examples=30)


@pytest.fixture(scope="module")
def whole(sittings):
    """What the database of all sittings looks like."""
    with Store.memory() as store:
        for sitting in sittings:
            sitting.play(store)
        return store.dump()


@pytest.fixture(scope="module")
def shared():
    """One database for all examples; each begins its sitting anew."""
    with Store.memory() as store:
        yield store


# -- what goes in comes out ----------------------------------------------------------------


@_calm
@given(st.data())
def test_a_sitting_comes_back(shared, nouns, data):
    header, ledger = data.draw(nouns[Header]), data.draw(nouns[Ledger])
    shared.forget_all()
    number = shared.begin(header, name="a.rec")
    shared.finish(number, ledger, digest="ab", drift_ppm=-12.5)
    (there,) = shared.recordings()

    assert (there.header, there.ledger) == (header, ledger)
    assert (there.recording_id, there.name, there.digest) == (number, "a.rec", "ab")
    assert there.drift_ppm == -12.5


@_calm
@given(st.data())
def test_jobs_come_back(shared, nouns, sittings, data):
    runs = data.draw(st.lists(nouns[JobRun], max_size=3, unique_by=lambda run: run.number))
    number = shared.begin(sittings[0].header, name="a.rec")
    for run in runs:
        shared.add_job(number, run)
    there = {job.run.number: job.run for job in shared.jobs() if job.recording_id == number}

    assert there == {run.number: run for run in runs}
    assert shared.quick_check() == []


@_calm
@given(st.data())
def test_pulls_come_back(shared, nouns, sittings, a_trace, data):
    pulls = data.draw(st.lists(nouns[Pull], max_size=4))
    founds = [
        Found(number=n, job_number=None, bed=2, pull=pull, trace=a_trace(3, seed=n), rule="r 1")
        for n, pull in enumerate(pulls, start=1)
    ]
    number = shared.begin(sittings[0].header, name="a.rec")
    shared.add_pulls(number, founds)
    there = shared.pulls_in(number)

    assert [(s.number, s.bed, s.rule) for s in there] == [(f.number, 2, "r 1") for f in founds]
    assert [stored.pull for stored in there] == pulls
    assert [shared.trace_of(s).counts.tolist() for s in there] == [
        f.trace.counts.tolist() for f in founds
    ]


@_calm
@given(st.data())
def test_notes_come_back_in_the_order_of_their_times(shared, nouns, sittings, data):
    notes = data.draw(st.lists(nouns[Note], max_size=4))
    shared.forget_all()
    number = shared.begin(sittings[0].header, name="a.rec")
    for note in notes:
        shared.add_notes(number, [note])

    assert [s.note for s in shared.notes()] == sorted(notes, key=lambda note: note.at_s)


# -- the same sittings give the same database ----------------------------------------------


@_calm
@given(
    order=st.lists(st.integers(0, 2), max_size=4).flatmap(
        lambda extra: st.permutations([0, 1, 2, *extra])
    )
)
def test_order_and_repetition_leave_no_mark(sittings, whole, order):
    with Store.memory() as store:
        for index in order:
            sittings[index].play(store)

        assert store.dump() == whole


@_calm
@given(pieces=st.lists(st.integers(0, 4), min_size=1, max_size=4))
def test_a_live_sitting_ends_up_like_a_replayed_one(sittings, pieces):
    """Pulls arrive one after another, are said anew, and the job is told twice."""
    sitting = sittings[0]
    with Store.memory() as live, Store.memory() as replayed:
        sitting.play(replayed)
        number = live.begin(sitting.header, name="a.rec")
        for run in sitting.runs:
            live.add_job(number, replace(run, ended_s=None, releases=0, inspections=()))
        for stop in pieces:
            live.add_pulls(number, [replace(f, rule="early") for f in sitting.founds[:stop]])
        for found in sitting.founds:
            live.add_pulls(number, [found])
        for note in sitting.notes:
            live.add_notes(number, [note])
        for run in reversed(sitting.runs):
            live.add_job(number, run)
        for kind, answer in sitting.answers:
            live.add_answer(number, kind, answer)
        live.finish(number, sitting.ledger, digest="ab" * 32, drift_ppm=-12.5)

        assert live.dump() == replayed.dump()


def test_a_rebuild_in_place_gives_the_same_database(sittings, whole, tmp_path):
    with Store(tmp_path / "a.db") as store:
        for _ in range(2):
            with store.transaction():
                store.forget_all()
                for sitting in reversed(sittings):
                    sitting.play(store)

        assert store.dump() == whole


def test_what_is_forgotten_leaves_no_mark(sittings, tmp_path):
    with Store.memory() as without, Store.memory() as with_it:
        sittings[1].play(without)
        for sitting in sittings:
            sitting.play(with_it)
        for recording in with_it.recordings():
            if recording.header.bench == "north":
                with_it.forget(recording.recording_id)

        assert with_it.dump() == without.dump()


def test_a_sitting_is_replaced_whole(sittings):
    long, short = sittings[0], sittings[0]._replace(founds=(), notes=(), answers=(), runs=())
    with Store.memory() as store, Store.memory() as fresh:
        long.play(store)
        short.play(store)
        short.play(fresh)

        assert store.dump() == fresh.dump()


# -- whole or not at all -------------------------------------------------------------------


def test_a_disk_that_fills_at_any_page_loses_nothing(sittings, a_trace, tmp_path):
    """The disk is allowed one more page each time, until the sitting fits."""
    founds = [replace(f, trace=a_trace(900, seed=f.number)) for f in sittings[0].founds]
    first = sittings[0]._replace(founds=founds)
    failures = 0
    with closing(opening.open_file(tmp_path / "a.db", must_exist=False)) as db:
        writes.begin(db, sittings[1].header, name="b.rec", digest=None)
        before = list(dump_lines(db))
        pages = db.execute("PRAGMA page_count").fetchone()[0]
        while True:
            db.execute(f"PRAGMA max_page_count = {pages + failures}")
            try:
                with writing(db):
                    number = writes.begin(db, first.header, name="a.rec", digest=None)
                    for run in first.runs:
                        writes.add_job(db, number, run)
                    writes.add_pulls(db, number, first.founds)
                break
            except Exception as error:
                assert "full" in str(error)
                assert list(dump_lines(db)) == before
                failures += 1

        assert failures > 3
        assert len(reads.pulls(db, number, None)) == 4


def test_a_pull_that_cannot_be_stored_takes_its_fellows_along(sittings, a_found):
    bad = a_found(9, drop=float("nan"))
    with Store.memory() as store:
        sittings[0].play(store)
        before = store.dump()
        with pytest.raises(ValueError, match="drop_n=nan"):
            store.add_pulls(store.recordings()[0].recording_id, [a_found(1, void=True), bad])

        assert store.dump() == before


@pytest.mark.parametrize("after", range(5))
def test_a_replay_that_stops_in_the_middle_leaves_the_earlier_version(sittings, a_found, after):
    sitting = sittings[0]
    with Store.memory() as store:
        sitting.play(store)
        before = store.dump()
        with pytest.raises(KeyboardInterrupt), store.transaction():
            number = store.begin(sitting.header, name="again.rec")
            store.add_job(number, sitting.runs[0])
            store.add_pulls(number, [a_found(n) for n in range(1, after + 1)])
            raise KeyboardInterrupt

        assert store.dump() == before
        sitting.play(store)
        assert store.dump() == before


def test_a_full_disk_is_a_sentence(sittings, tmp_path, monkeypatch):
    real = opening.open_file

    def small(path, *, must_exist):
        db = real(path, must_exist=must_exist)
        db.execute("PRAGMA max_page_count = 1")
        return db

    monkeypatch.setattr(opening, "open_file", small)
    with (
        Store(tmp_path / "a.db") as store,
        pytest.raises(StoreError, match=r"full\. Free some"),
    ):
        for _ in range(50):
            store.begin(replace(sittings[0].header, bench=f"b{_}"), name="a.rec" * 4000)
