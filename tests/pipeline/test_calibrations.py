"""Calibrations are proposed by checks, adopted by people, read back and undone."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tensionlog.check.calibrate import calibration_from_record
from tensionlog.errors import CalibrationError
from tensionlog.pipeline import calibrations as known
from tensionlog.pipeline.decisions import record_decision, store_decision
from tensionlog.pipeline.rebuild import rebuild, recordings_in
from tensionlog.pipeline.replay import replay, replay_all
from tensionlog.pipeline.verify import verify_stored
from tensionlog.sources.recording import open_recording
from tensionlog.store import Store
from tensionlog.twin import draw_bench, play_check, play_job
from tensionlog.twin.played import FIRST_DAY

BENCH = draw_bench(21)
LOADS = (5.0, 10.0, 15.0, 20.0, 25.0)


def check_file(folder: Path, name: str, **more: object) -> Path:
    path = folder / name
    path.write_bytes(play_check(seed=21, bench=BENCH, settle_s=3.0, **more).recording)
    return path


@pytest.fixture(scope="session")
def day(tmp_path_factory) -> Path:
    """A calibration, a morning check and a short job, a file each."""
    folder = tmp_path_factory.mktemp("day")
    path = check_file(folder, "a-calibration.rec", masses_kg=LOADS * 3)
    said = path.read_bytes().replace(b'"check-start"', b'"check-start", "calibration": true')
    path.write_bytes(said)
    later = FIRST_DAY + timedelta(hours=1)
    check_file(folder, "b-check.rec", masses_kg=(10.0, 20.0), started=later)
    job = play_job(
        seed=5, sport="squash", mains=2, crosses=0, pace=0.3, bench=BENCH,
        started=FIRST_DAY + timedelta(hours=2),
    )  # fmt: skip
    (folder / "c-job.rec").write_bytes(job.recording)
    return folder


@pytest.fixture(scope="session")
def stored(day, tmp_path_factory) -> bytes:
    path = tmp_path_factory.mktemp("db") / "a.db"
    with Store(path) as store:
        list(replay_all(recordings_in([day]), store=store))
    return path.read_bytes()


@pytest.fixture
def db(stored, tmp_path) -> Path:
    path = tmp_path / "a.db"
    path.write_bytes(stored)
    return path


@pytest.fixture
def store(db):
    with Store(db) as opened:
        yield opened


def test_a_full_calibration_is_stored_with_its_covariance(store):
    (stored,) = store.answers("calibration")

    result = calibration_from_record(stored.body)
    counts_per_n = BENCH.cell.counts_per_n * (1 + BENCH.cell.span_error)
    assert np.shape(result.fit.covariance) == (2, 2)
    assert result.fit.slope == pytest.approx(counts_per_n, rel=6e-4)
    assert (result.loads, result.runs) == (5, 3)
    assert 0 < result.u_force_n(100.0) < 0.2


def test_the_loads_of_every_check_are_rows(store):
    rows = store._db.query(  # noqa: SLF001
        "SELECT load, reference_n, error_n, u_n FROM check_points ORDER BY recording_id, point"
    )

    loads = [row["load"] for row in rows]
    assert loads.count("10 kg") == 4 and loads.count("25 kg") == 3


def test_the_full_one_and_the_span_of_each_check_are_proposed(store):
    some = known.proposed(store, bench="north")

    assert [one.kind for one in some] == ["full", "span", "span"]
    assert known.chosen(some).kind == "span"
    assert known.chosen(some, kind="full").calibration.name == "north 2026-03-02"
    assert known.proposed(store, bench="elsewhere") == []
    with pytest.raises(CalibrationError, match="north 2026-03-02"):
        known.chosen(some, name="of last year")


def test_with_the_span_of_a_check_its_loads_read_right(store, day):
    one = known.chosen(known.proposed(store, bench="north"), kind="span")

    left = known.read_again(open_recording(day / "b-check.rec"), one.calibration)
    assert left is not None
    assert left["span_error_pct"] == pytest.approx(0.0, abs=1e-6)
    assert known.error_summary(one.check)["span_error_pct"] != pytest.approx(0.0, abs=1e-3)


def decide(store: Store, folder: Path, note: dict[str, object], minute: int) -> Path:
    at = datetime(2026, 3, 2, 15, minute, tzinfo=UTC).isoformat()
    path = record_decision(folder, bench="north", notes=[{"at": at, **note}])
    store_decision(store, path)
    return path


def test_adopting_is_remembered_with_as_found_and_as_left_and_can_be_undone(store, tmp_path):
    one = known.chosen(known.proposed(store, bench="north"), kind="full")
    before = {"zero_counts": 1, "counts_per_N": 2.0}
    left = {"span_error_pct": 0.0}

    decide(store, tmp_path, known.adopt_note(one, replaces=before, as_left=left), 1)
    (last,) = known.adopted(store, bench="north")
    assert last.calibration == one.calibration
    assert last.body["replaces"] == before and last.body["as_left"] == left
    assert last.body["as_found"]["verdict"] == "good"
    assert last.body["record"]["fit"]["covariance"]

    undo = known.undo_note(last)
    decide(store, tmp_path, undo, 2)
    assert undo["restores"] == before
    assert known.adopted(store, bench="north") == []


def test_a_check_broken_off_proposes_nothing(tmp_path):
    path = check_file(tmp_path, "a.rec", masses_kg=(10.0,))
    path.write_bytes(path.read_bytes().replace(b'"check-end"', b'"telephone"'))
    with Store.memory() as store:
        list(replay_all([path], store=store))

        assert known.proposed(store, bench="north") == []


def read(store: Store) -> list[float]:
    sitting = next(r for r in store.recordings() if r.name == "c-job.rec")
    return [pull.pull.release for pull in store.pulls_in(sitting.recording_id)]


def recompute_note(path: Path, stated: object) -> dict[str, object]:
    header = open_recording(path).header
    named = [{"bench": header.bench, "started": header.started.isoformat()}]
    return {"note": "recompute", "recordings": named, "calibration": stated}


def test_a_job_is_read_again_with_another_calibration_and_back(store, day, tmp_path, db):
    job, before = day / "c-job.rec", read(store)
    stated = {
        "zero_counts": BENCH.cell.zero_counts,
        "counts_per_N": BENCH.cell.counts_per_n / 2,
    }

    decide(store, tmp_path, recompute_note(job, {**stated, "name": "half"}), 3)
    list(replay_all([job], store=store))
    doubled = read(store)
    names = {
        r.name: r.header.calibration.name for r in store.recordings() if r.header.calibration
    }
    assert doubled == pytest.approx([2 * x for x in before], rel=0.02)
    assert names["c-job.rec"] == "half" and names["b-check.rec"] == ""
    assert verify_stored(open_recording(job), store) == []

    # a rebuild knows the decision, though its file comes after those it is about
    assert rebuild(db, recordings_in([day, tmp_path]), at=FIRST_DAY).was_identical

    decide(store, tmp_path, recompute_note(job, None), 4)
    list(replay_all([job], store=store))
    assert read(store) == before


def test_a_decision_that_is_no_calibration_changes_nothing(store, day, tmp_path):
    before = read(store)

    decide(store, tmp_path, recompute_note(day / "c-job.rec", {"counts_per_N": 0}), 5)
    decide(store, tmp_path, {"note": "recompute", "recordings": "all", "calibration": None}, 6)
    list(replay_all([day / "c-job.rec"], store=store))

    assert read(store) == before


def test_a_calibration_that_cannot_be_is_a_line_and_the_rest_is_answered(tmp_path):
    path = check_file(tmp_path, "a.rec", masses_kg=(10.0, 20.0))
    said = path.read_bytes().replace(b'"check-start"', b'"check-start", "calibration": true')
    path.write_bytes(said)

    whole = replay(path)

    assert whole.tests.calibration is None
    assert any("needs 5 different loads in 3 runs" in line for line in whole.warnings)
    assert whole.tests.check is not None
