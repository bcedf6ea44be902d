"""`demo --season`: invented days through the usual path, and what went wrong is told."""

import pytest

from tensionlog.cli import season
from tensionlog.pipeline.rebuild import recordings_in
from tensionlog.store import Store


def test_a_day_is_recorded_stored_and_reported(tmp_path, capsys):
    answer = season.play(tmp_path, seed=7, days=1)
    said = capsys.readouterr()

    assert answer["clamps"][0]["clamp"] == "A"
    assert answer["clamps"][0]["needed"] == 7
    assert len(recordings_in([tmp_path])) == 3  # a check, a hold test, a job
    assert "clamp-B from day 12, put right on day 32" in said.err
    assert said.out.startswith("Bench north")
    assert (tmp_path / "clamps-north.html").exists()
    with Store(tmp_path / "season.db") as store:
        assert store.history.unwatched_benches() == []


def test_a_folder_that_does_not_take_it_is_one_line(run, tmp_path, monkeypatch):
    monkeypatch.setitem(season.play.__kwdefaults__, "days", 1)
    (tmp_path / "season-7").mkdir()
    (tmp_path / "season-7" / "recordings").write_text("")
    ran = run("demo", "--season", "--folder", tmp_path)

    assert "Choose another --folder." in ran.err
    assert ran.code == 1


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_both_troubles_of_the_season_are_named_and_closed_once_put_right(tmp_path):
    answer = season.play(tmp_path, seed=7, as_json=True)

    told = [(alert["cause"], alert["state"]) for alert in answer["alerts"]]
    assert told == [("clamp-B", "closed"), ("cell-span", "closed")]
    first, second = answer["alerts"]
    assert "2026-03-14" < first["raised"] < "2026-04-03"  # cleaned on day 32
    assert "2026-04-09" < second["raised"] < "2026-04-21"  # calibrated on day 50
