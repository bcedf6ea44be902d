"""`service`: noted in its own recording, compared, refused where there is no such clamp."""

import pytest

from tensionlog.pipeline.rebuild import recordings_in
from tensionlog.pipeline.replay import replay_all
from tensionlog.recorder import Recorder
from tensionlog.store import Store


@pytest.fixture
def bench(run, tmp_path):
    """A bench with its own folder and database."""
    db, folder = tmp_path / "north.db", tmp_path / "recordings"
    assert run("bench", "set", "--name", "north", "--recordings", folder,
               "--database", db).code == 0  # fmt: skip
    return db, folder


def test_a_service_is_a_recording_of_its_own_and_in_the_database(run, bench):
    db, folder = bench
    ran = run("service", "--clamp", "B", "--what", "cleaned")

    (path,) = recordings_in([folder])
    assert ran.code == 0
    assert str(path) in ran.err
    assert "no hold test yet" in ran.err
    assert ran.out.splitlines()[1] == "  No hold test of clamp B before or after it yet."
    with Store(db) as store:
        (served,) = [one.happened for one in store.history.happened("north")]
        assert served.body == {"clamp": "B", "what": "cleaned"}
        dump = store.dump()
    with Store.memory() as again:
        list(replay_all([path], store=again))
        assert again.dump() == dump


def test_a_service_of_yesterday_acts_at_its_own_time(run, bench):
    run("service", "--clamp", "A", "--what", "re-faced", "--at", "2026-03-02T18:00Z")

    (row,) = run("service", "--clamp", "A", "--json").rows[0]
    assert row["at"] == "2026-03-02T18:00:00.000000Z"
    assert row["what"] == "re-faced"
    assert row["helped"] is row["before"] is row["after"] is None


def test_a_service_during_a_job_stands_beside_it(run, bench):
    _, folder = bench
    with Recorder(folder, {"bench": "north", "purpose": "job"}):
        ran = run("service", "--clamp", "A", "--what", "cleaned")

    assert ran.code == 0, ran.err
    assert len(recordings_in([folder])) == 2


def test_asking_writes_nothing(run, bench):
    db, folder = bench
    with Store(db):
        pass
    ran = run("service", "--clamp", "A")

    assert ran.out == "Clamp A was never serviced. Note one with --what cleaned.\n"
    assert not folder.exists()


def test_a_clamp_that_the_bench_does_not_have_is_refused(run, bench):
    ran = run("service", "--clamp", "C", "--what", "cleaned")

    assert ran.code == 2
    assert "this bench has no clamp 'C'. It has A, B" in ran.err
    assert not bench[1].exists()


def test_a_clock_that_went_back_is_told(run, bench):
    run("service", "--clamp", "A", "--what", "cleaned")
    db, folder = bench
    (path,) = recordings_in([folder])
    text = path.read_text()
    ahead = folder / "ahead.rec"
    ahead.write_text(text.replace('"started": "20', '"started": "21'))
    run("replay", ahead, "--db", db)

    ran = run("service", "--clamp", "A", "--what", "cleaned")
    assert "Set the clock" in ran.err
