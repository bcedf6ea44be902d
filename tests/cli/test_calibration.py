"""`calibration` and `recompute`: a decision is asked for, written down and reversible."""

import pytest

from tensionlog.twin import draw_bench, play_check

BENCH = draw_bench(21)


@pytest.fixture
def bench_home(run, tmp_path):
    """A bench with a stored morning check."""
    folder, db = tmp_path / "rec", tmp_path / "a.db"
    folder.mkdir()
    run("bench", "set", "--name", "north", "--zero-counts", BENCH.cell.zero_counts,
        "--counts-per-n", BENCH.cell.counts_per_n, "--recordings", folder,
        "--database", db)  # fmt: skip
    path = folder / "check.rec"
    played = play_check(seed=21, bench=BENCH, masses_kg=(10.0, 20.0), settle_s=4.0)
    path.write_bytes(played.recording)
    assert run("replay", path, "--db", db).code == 0
    return folder


def in_force(run):
    return run("bench", "--json").rows[0]["calibration"]


def test_adopting_and_taking_back_change_what_the_bench_records_with(run, bench_home):
    before = in_force(run)
    assert "span  span 2026-03-02" in run("calibration", "list").out

    adopted = run("calibration", "adopt", "--span", "--yes")
    assert adopted.code == 0, adopted.err
    assert "As found" in adopted.err and "As left" in adopted.err
    assert in_force(run)["name"] == "span 2026-03-02"
    assert "In force since" in run("calibration", "list").out
    assert len(list(bench_home.glob("*.rec"))) == 2

    assert "Taken back" in run("calibration", "undo", "--yes").out
    assert in_force(run) == before


def test_nothing_is_adopted_unless_somebody_says_so(run, bench_home):
    before = in_force(run)

    ran = run("calibration", "adopt", "--span")

    assert ran.code != 0
    assert in_force(run) == before
    assert len(list(bench_home.glob("*.rec"))) == 1


def test_what_is_not_known_is_said_in_one_line(run, bench_home):
    assert "tensionlog check --calibrate" in run("calibration", "adopt", "x", "--yes").error
    assert "nothing can be undone" in run("calibration", "undo", "--yes").error


def test_a_sitting_is_read_again_with_a_named_calibration_and_back(run, bench_home):
    path = bench_home / "check.rec"

    run("recompute", path, "--calibration", "span 2026-03-02")
    said = run("calibration", "list", "--json").rows[0]
    again = run("recompute", path, "--own", "--json")

    assert said["proposed"][0]["kind"] == "span"
    assert again.code == 0 and again.rows[0]["calibration"] is None
    assert run("recompute", path).code == 2
