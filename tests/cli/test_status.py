"""`status`: how the bench stands, for people and for scripts."""

import json

import pytest

from tensionlog.cli.status import FAILED
from tensionlog.store import Store

GLANCE = {
    "bench": "north",
    "cell": {"checked": None, "verdict": None, "state": None},
    "head": {"error_pct": None},
    "clamps": [],
    "alerts": [],
}
FULL_CELL = {"span_error_pct": None, "u_span_error_pct": None, "problem": None}


@pytest.fixture
def glanced(db):
    """Put what the watch would have left into the database."""

    def put(**changes):
        answer = GLANCE | {"cell": GLANCE["cell"] | FULL_CELL} | changes
        with Store(db) as store:
            (bench,) = store.history.benches()
            store.history.glanced(bench, answer)

    return put


def clamp(state):
    return {"clamp": "A", "state": state}


def alert(state, cause="clamp-A"):
    return {"state": state, "cause": cause}


def test_the_pinned_answer_from_a_database_just_replayed(run, db):
    ran = run("status", "--db", db, "--json")

    (answer,) = ran.rows
    assert ran.code == 0
    assert {"cell", "head", "clamps", "alerts"} <= set(answer)
    assert {one["clamp"] for one in answer["clamps"]} <= {"A", "B"}
    assert answer["alerts"] == []


def test_for_people_in_a_few_lines(run, db):
    ran = run("status", "--db", db)

    assert ran.out.startswith("Bench north\n")
    assert ran.out.endswith("no open alerts, 0 closed.\n")


def test_as_it_stood_at_a_time(run, db):
    ran = run("status", "--db", db, "--at", "2020-01-01T00:00Z", "--json")

    assert ran.rows[0]["clamps"] == [] or ran.rows[0]["clamps"][0]["state"] is None


@pytest.mark.parametrize(
    ("changes", "watch", "service"),
    [
        ({}, 0, 0),
        ({"clamps": [clamp("good"), clamp("watch")]}, FAILED, 0),
        ({"clamps": [clamp("service")]}, FAILED, FAILED),
        ({"cell": {"state": "service"} | FULL_CELL}, FAILED, FAILED),
        ({"cell": {"state": "watch"} | FULL_CELL}, FAILED, 0),
        ({"alerts": [alert("raised")]}, FAILED, FAILED),
        ({"alerts": [alert("acted")]}, FAILED, 0),
        ({"alerts": [alert("closed")]}, 0, 0),
        ({"alerts": [alert("raised", "string")]}, FAILED, 0),
    ],
)
def test_scripts_are_told_by_the_exit_code(run, db, glanced, changes, watch, service):
    glanced(**changes)

    assert run("status", "--db", db, "--json", "--fail-on", "watch").code == watch
    assert run("status", "--db", db, "--json", "--fail-on", "service").code == service


def test_a_sitting_that_nobody_looked_at_is_looked_at_first(run, db):
    with Store(db) as store:
        (recording,) = store.recordings()
        store.begin(recording.header, name="again.rec", digest=None)

    assert run("status", "--db", db, "--json").code == 0
    with Store(db) as store:
        assert store.history.unwatched_benches() == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--bench", "west"), "there is no bench 'west'. There is north."),
        (("--at", "noon"), "'noon' is no time."),
    ],
)
def test_what_is_not_there_is_one_line(run, db, asked, said):
    ran = run("status", "--db", db, *asked)

    assert ran.code in (1, 2)
    assert said in ran.err


def test_no_database_is_one_line(run, tmp_path):
    assert "there is no database" in run("status", "--db", tmp_path / "no.db").error


def test_an_empty_database_says_what_to_do(run, tmp_path):
    with Store(tmp_path / "a.db"):
        pass

    assert "has no sitting" in run("status", "--db", tmp_path / "a.db").error


def test_the_bench_s_own_database_is_the_one_meant(run, db, own_config):
    assert run("bench", "set", "--database", db).code == 0

    assert json.loads(run("status", "--json").out)["bench"] == "north"
