"""`trace` and `drift`: where a force comes from, and whether the cell has moved."""

from tensionlog.model.recording import Header
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY


def test_a_pull_is_traced_back(run, db):
    assert "L1 in short.rec:" in run("trace", "--db", db, "--pull", "L1").out
    row = run("trace", "--db", db, "--pull", "1", "--json").rows[0]
    assert row["position"] == "L1" and row["check"] is None and row["u_N"] is None
    assert "has no pull 'X99'" in run("trace", "--db", db, "--pull", "X99").error


def test_a_bench_without_checks_is_told_so(run, db):
    assert "no check of the bench 'north'" in run("drift", "--db", db, "--bench", "north").error


def test_each_series_has_its_sentence(run, tmp_path):
    path = tmp_path / "a.db"
    with Store(path) as store:
        number = store.begin(
            Header(bench="north", purpose="check", started=FIRST_DAY), name="x.rec"
        )
        store.add_answer(number, "check", {"zero_N": 1.0, "span_error_pct": 0.1})

    said = run("drift", "--db", path, "--bench", "north").out
    row = run("drift", "--db", path, "--bench", "north", "--json").rows[0]

    assert said.count("3 more mornings") == 2
    assert [one["name"] for one in row] == ["zero", "span"]


def test_the_page_of_the_latest_check_is_written(run, tmp_path):
    path = tmp_path / "a.db"
    with Store(path) as store:
        number = store.begin(
            Header(bench="north", purpose="check", started=FIRST_DAY), name="x.rec"
        )
        store.add_answer(
            number, "check", {"verdict": None, "problem": "broken off", "points": []}
        )

    ran = run("report", "--db", path, "--check", "--out", tmp_path)

    assert ran.code == 0 and "NO VERDICT: broken off" in ran.out
    assert "Broken off" in (tmp_path / "check-2026-03-02.html").read_text(encoding="utf-8")
    assert run("report", "--db", path, "--check", "--json").rows[0]["check"]["points"] == []
    assert "no morning check of" in run("report", "--db", path, "--check", "--bench", "x").error
