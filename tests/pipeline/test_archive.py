"""The page's archive lets the watch look at every sitting that was closed."""

from tensionlog.pipeline.archive import Archive
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.replay import replay
from tensionlog.store import Store


def test_a_closed_sitting_is_looked_at_and_its_alerts_are_told(short_path, tmp_path):
    told = []
    archive = Archive(tmp_path / "a.db")
    archive.on_alerts = told.append
    archive.kept(Now(closed=((short_path,), replay(short_path))))
    archive.close()

    assert told == [[]]
    with Store(tmp_path / "a.db") as store:
        assert store.history.unwatched_benches() == []
        assert len(store.history.happened("north")) == 1
