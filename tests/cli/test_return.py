"""`return`: a racket that came back is linked to its job, and the clamps of that day."""

import pytest

from tensionlog.pipeline.rebuild import recordings_in
from tensionlog.store import Store
from tensionlog.twin import play_hold
from tensionlog.twin.played import FIRST_DAY


@pytest.fixture
def ref(db):
    with Store(db) as store:
        return store.jobs()[0].ref


def test_the_job_its_string_and_its_clamps(run, db, ref, tmp_path):
    ran = run("return", ref, "--db", db, "--broke", "R1", "--folder", tmp_path / "r")

    assert ran.code == 0
    assert ran.out.startswith(f"Job {ref}, strung 20")
    assert "not hold-tested before this job" in ran.out
    assert "  about R1:" in ran.out
    (path,) = recordings_in([tmp_path / "r"])
    assert '"note": "return"' in path.read_text()
    assert '"broke": "R1"' in path.read_text()
    assert '"bench": "north"' in path.read_text()


def test_the_pulls_about_the_break_are_those_that_touched_it(run, db, ref):
    (answer,) = run("return", ref, "--db", db, "--json").rows
    assert answer["pulls"] == []

    with Store(db) as store:
        standing = store.pulls_in(store.recordings()[0].recording_id)
    assert [p.pull.position for p in standing if not p.pull.void] == ["L1", "R1", "X1"]


def test_asking_alone_writes_nothing(run, db, ref, tmp_path):
    assert run("return", ref, "--db", db, "--folder", tmp_path / "r").code == 0
    assert not (tmp_path / "r").exists()


def test_the_state_of_the_clamps_that_day_is_known_from_a_test_before(run, db, ref, tmp_path):
    from datetime import timedelta

    path = tmp_path / "hold.rec"
    early = FIRST_DAY - timedelta(hours=1)
    hold = play_hold(seed=4, clamp="A", observe_s=4.0, re_pull=False, started=early)
    path.write_bytes(hold.recording)
    assert run("replay", path, "--db", db).code == 0

    (answer,) = run("return", ref, "--db", db, "--felt", "soft", "--folder", tmp_path / "r",
                    "--json").rows  # fmt: skip
    clamp = answer["clamps"][0]
    assert clamp["clamp"] == "A"
    assert clamp["state"] in ("good", "watch", "service")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("J-none",), "there is no job 'J-none'. The latest are"),
        (("REF", "--broke", "R9"), "has no string 'R9'"),
        (("REF", "--broke", "R1", "--felt", "soft"), "exclude one another"),
    ],
)
def test_what_is_not_there_is_one_line(run, db, ref, asked, said):
    ran = run("return", *[ref if a == "REF" else a for a in asked], "--db", db)

    assert ran.code in (1, 2)
    assert said in ran.err
