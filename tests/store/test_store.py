"""What can be asked of the store, and what it says to wrong questions."""

import subprocess
import sys
from dataclasses import replace

import pytest

import tensionlog.store
from tensionlog.errors import StoreError
from tensionlog.model.recording import Note
from tensionlog.model.sitting import Ledger
from tensionlog.store import Store, StoredPull, opening


@pytest.fixture(scope="module")
def store(sittings):
    """A database of all sittings, for reading only."""
    with Store.memory() as full:
        for sitting in sittings:
            sitting.play(full)
        yield full


@pytest.fixture
def fresh(sittings):
    """An open database with a sitting begun, and its number."""
    with Store.memory() as opened:
        yield opened, opened.begin(sittings[0].header, name="a.rec")


def test_the_door_lists_what_it_lets_through():
    names = tensionlog.store.__all__

    assert names == sorted(names)
    assert all(hasattr(tensionlog.store, name) for name in names)


def test_the_nouns_do_not_load_the_database():
    """`--help` must not pay for pandas, which sqlite-utils brings in."""
    code = "import sys, tensionlog.model.sitting; sys.exit('sqlite_utils' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# -- reading -------------------------------------------------------------------------------


def test_recordings_come_oldest_first_and_by_bench(store):
    there = [(r.header.bench, r.header.purpose) for r in store.recordings()]

    assert there == [("north", "job"), ("south", "job"), ("north", "check")]


def test_a_recording_that_was_not_finished_has_no_ledger(fresh):
    opened, _ = fresh

    assert [r.ledger for r in opened.recordings()] == [None]


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({}, 3),
        ({"ref": "J-17"}, 3),
        ({"ref": "J-1"}, 0),
        ({"owner": "nobo"}, 3),
        ({"owner": "%"}, 0),
        ({"string": "NYLON"}, 3),
        ({"string": "gut"}, 0),
        ({"bench": "south"}, 1),
        ({"bench": "sou"}, 0),
        ({"bench": "north", "owner": "nobody"}, 2),
        ({"owner": "nobody", "sport": "tennis"}, 0),
    ],
)
def test_jobs_are_found_by_what_the_ticket_says(store, wanted, found):
    assert len(store.jobs(**wanted)) == found


@pytest.mark.parametrize(
    ("ticket", "wanted"),
    [
        ({"owner": "ÅSA Example"}, {"owner": "åsa"}),
        ({"string_crosses": "soft"}, {"string": "soft"}),
        ({"string": "house", "string_mains": "other"}, {"string": "house"}),
        ({"reel": 12}, {"reel": "12"}),
        ({"reel_mains": "r-9"}, {"reel": "R-9"}),
        ({"ref": " 117 "}, {"ref": "117"}),
        ({"frame": "red"}, {"frame": "ed"}),
        ({"operator": "O"}, {"operator": "o"}),
        ({"sport": "squash"}, {"sport": "squash"}),
    ],
)
def test_a_ticket_is_found_however_it_was_typed(fresh, sittings, ticket, wanted):
    opened, number = fresh
    opened.add_job(number, replace(sittings[0].runs[0], raw=ticket))

    assert [job.run.raw for job in opened.jobs(**wanted)] == [ticket]


def test_jobs_come_oldest_first(store):
    jobs = [(job.bench, job.run.number) for job in store.jobs()]

    assert jobs == [("north", 1), ("north", 2), ("south", 1)]


def test_the_latest_job_is_the_one_asked_for_by_default(store):
    latest, north = store.job(), store.job(recording_id=store.recordings()[0].recording_id)

    assert (latest.bench, latest.run.number) == ("south", 1)
    assert (north.bench, north.run.number) == ("north", 2)


def test_a_job_is_found_by_number_and_ref(store):
    assert store.job(number=2, ref="J-17").run.broke == "X3"
    assert store.job(ref="J-18") is None


def test_pulls_of_a_job_are_its_own_in_order(store):
    first, second, _ = store.jobs()

    assert [(p.number, p.pull.void) for p in store.pulls_of(first)] == [(1, False), (2, True)]
    assert [p.number for p in store.pulls_of(second)] == [3]


def test_pulls_of_a_sitting_count_those_outside_any_job(store):
    numbers = [p.job_number for p in store.pulls_in(store.recordings()[0].recording_id)]

    assert numbers == [1, 1, 2, None]


def test_a_pull_names_the_rule_and_the_calibration_that_made_its_numbers(store):
    north, south = (store.pulls_in(r.recording_id)[0] for r in store.recordings()[:2])

    assert north.rule == "pulls 1"
    assert north.calibration_id is not None
    assert south.calibration_id is None


def test_a_trace_is_read_as_it_was_given(store, a_trace):
    pull = store.pulls_of(store.jobs()[0])[1]

    assert store.trace_of(pull).counts.tolist() == a_trace(seed=2).counts.tolist()


def test_services_are_found_among_the_notes(store):
    assert [n.note.body["what"] for n in store.notes("service")] == ["cleaned"]
    assert len(store.notes()) == 2


def test_answers_come_back_as_they_were_given(store):
    (check,), heads = store.answers("check"), store.answers("head")

    assert check.body == {
        "zero_N": 0.25,
        "span_error_pct": None,
        "points": [],
        "verdict": "good",
    }
    assert [(a.number, a.body["set_N"]) for a in heads] == [(1, 100), (2, 120)]
    assert store.answers("stiffness") == []


# -- writing -------------------------------------------------------------------------------


def test_a_pull_said_anew_replaces_the_first(fresh, a_found):
    opened, number = fresh
    opened.add_pulls(number, [a_found(1, job_number=None), a_found(2, job_number=None)])
    opened.add_pulls(number, [a_found(1, job_number=None, void=True, flags=("no-release",))])

    assert [(p.pull.void, p.pull.flags) for p in opened.pulls_in(number)] == [
        (True, ("no-release",)),
        (False, ("worked-twice", "early-clamp")),
    ]


def test_of_two_pulls_with_one_number_in_one_call_the_later_holds(fresh, a_found):
    opened, number = fresh
    opened.add_pulls(
        number, [a_found(1, job_number=None), a_found(1, job_number=None, void=True)]
    )

    assert [p.pull.void for p in opened.pulls_in(number)] == [True]


def test_a_pull_may_come_before_its_job_inside_a_transaction(fresh, a_found, sittings):
    opened, number = fresh
    with opened.transaction():
        opened.add_pulls(number, [a_found(1)])
        opened.add_job(number, sittings[0].runs[0])

    assert len(opened.pulls_of(opened.job())) == 1


def test_a_pull_without_its_job_is_refused(fresh, a_found):
    opened, number = fresh
    with pytest.raises(Exception, match="FOREIGN KEY"):
        opened.add_pulls(number, [a_found(1)])

    assert opened.pulls_in(number) == []


def test_a_note_with_half_a_letter_is_kept(fresh):
    """Python reads half a surrogate pair from a line of JSON; UTF-8 has no such letter."""
    opened, number = fresh
    opened.add_notes(number, [Note(1.0, "broke\ud800", {"position": "\udfff\0"})])

    assert [n.note for n in opened.notes()] == [Note(1.0, "broke?", {"position": "?\0"})]


@pytest.mark.parametrize(
    "write",
    [
        lambda s: s.add_pulls(5, []),
        lambda s: s.finish(5, Ledger()),
    ],
)
def test_a_sitting_that_was_not_begun_is_refused(fresh, write):
    with pytest.raises(ValueError, match="no recording 5: call begin first"):
        write(fresh[0])


def test_a_pull_that_is_not_there_has_no_trace(fresh, store):
    pull = store.pulls_of(store.job())[0]
    with pytest.raises(ValueError, match="has no pull 1"):
        fresh[0].trace_of(pull)


@pytest.mark.parametrize(
    "ask", [lambda s: s.answers("mood"), lambda s: s.add_answer(1, "mood", {})]
)
def test_an_unknown_kind_of_answer_is_refused(fresh, ask):
    with pytest.raises(ValueError, match=r"one of check, hold, .*, not 'mood'"):
        ask(fresh[0])


def test_two_sittings_with_one_number_are_refused(fresh, sittings, monkeypatch):
    opened, number = fresh
    monkeypatch.setattr("tensionlog.store.columns.recording_id", lambda *_: number)
    with pytest.raises(StoreError, match=r"b\.rec gets the number of the sitting north 2026"):
        opened.begin(replace(sittings[0].header, bench="west"), name="b.rec")

    assert [r.header.bench for r in opened.recordings()] == ["north"]


def test_the_digest_may_come_at_either_end(fresh, sittings):
    opened, number = fresh
    opened.finish(number, Ledger(), digest="late")
    late = opened.recordings()[0].digest
    opened.begin(sittings[0].header, name="a.rec", digest="early")
    opened.finish(number, Ledger())

    assert (late, opened.recordings()[0].digest) == ("late", "early")


def test_a_calibration_that_nobody_uses_any_more_is_gone(fresh, sittings, a_found):
    opened, number = fresh
    opened.add_pulls(number, [a_found(1, job_number=None)])
    opened.begin(replace(sittings[0].header, calibration=None), name="a.rec")

    assert '"calibrations"' not in opened.dump()


def test_each_live_write_is_there_for_others_at_once(tmp_path, sittings, a_found):
    path = tmp_path / "a.db"
    with Store(path) as writer, Store(path, must_exist=True) as reader:
        number = writer.begin(sittings[0].header, name="a.rec")
        writer.add_pulls(number, [a_found(1, job_number=None)])

        assert len(reader.pulls_in(number)) == 1


def test_a_transaction_is_there_for_others_only_when_it_ends(tmp_path, sittings):
    path = tmp_path / "a.db"
    with Store(path) as writer, Store(path, must_exist=True) as reader:
        with writer.transaction():
            writer.begin(sittings[0].header, name="a.rec")
            during = len(reader.recordings())

        assert (during, len(reader.recordings())) == (0, 1)


def test_a_second_writer_is_told_who_waits(tmp_path, sittings, monkeypatch):
    monkeypatch.setattr(opening, "_BUSY_TIMEOUT_S", 0.02)
    with Store(tmp_path / "a.db") as one, Store(tmp_path / "a.db") as other:
        with one.transaction(), pytest.raises(StoreError, match="Another program holds it"):
            other.begin(sittings[0].header, name="a.rec")
        other.begin(sittings[0].header, name="a.rec")

        assert len(one.recordings()) == 1


def test_closing_in_the_middle_undoes_what_was_begun(tmp_path, sittings):
    writer = Store(tmp_path / "a.db")
    with pytest.raises(Exception, match="closed"), writer.transaction():
        writer.begin(sittings[0].header, name="a.rec")
        writer.close()
    with Store(tmp_path / "a.db") as again:
        assert again.recordings() == []


def test_a_stored_pull_is_a_value(store):
    first, again = (store.pulls_of(store.job())[0] for _ in range(2))

    assert isinstance(first, StoredPull)
    assert first == again
