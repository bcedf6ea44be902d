"""The history of a bench is derived: live, replayed at once, piece by piece or rebuilt."""

from datetime import UTC, datetime, timedelta

import pytest

from tensionlog.pipeline.keeping import keep, sitting_name
from tensionlog.pipeline.rebuild import rebuild
from tensionlog.pipeline.replay import replay_all
from tensionlog.pipeline.sitting import Sitting
from tensionlog.pipeline.watch import keep_watch
from tensionlog.recorder import Recorder
from tensionlog.sources.recording import open_recording
from tensionlog.store import Store
from tensionlog.twin import draw_bench, play_check, play_hold, play_job
from tensionlog.twin.played import FIRST_DAY

pytestmark = pytest.mark.long


def at(minutes):
    return FIRST_DAY + timedelta(minutes=minutes)


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """A check, two hold tests in one minute, a service and a job of one bench."""
    folder, bench = tmp_path_factory.mktemp("morning"), draw_bench(3)
    told = {"bench": bench, "sport": "squash"}
    played = {
        "check": play_check(seed=3, dials_n=(200.0,), bench=bench, started=at(0)),
        "hold-1": play_hold(seed=4, observe_s=5.0, re_pull=False, started=at(10), **told),
        "hold-2": play_hold(seed=5, observe_s=5.0, re_pull=False, started=at(10.5), **told),
        "job": play_job(seed=6, mains=4, crosses=0, pace=0.2, started=at(30), **told),
    }
    for name, one in played.items():
        (folder / f"{name}.rec").write_bytes(one.recording)
    header = {"bench": bench.name, "purpose": "free", "started": at(20).isoformat()}
    recorder = Recorder(folder, header, in_background=False)
    recorder.note(
        {"at": at(20).isoformat(), "note": "service", "clamp": "A", "what": "cleaned"}
    )
    recorder.close()
    return folder


@pytest.fixture(scope="module")
def dumped(morning):
    with Store.memory() as store:
        told = list(replay_all(sorted(morning.glob("*.rec")), store=store))
        assert [item for item in told if not hasattr(item, "whole")] == []
        return store.dump()


def test_two_tests_in_one_minute_and_a_service_between_are_all_there(morning, dumped):
    assert dumped.count('"kind": "tested"') == 2
    assert dumped.count('"kind": "served"') == 1
    assert dumped.count('"watched": 1') == 5


def test_one_by_one_from_the_last_to_the_first(morning, dumped):
    with Store.memory() as store:
        for path in sorted(morning.glob("*.rec"), reverse=True):
            list(replay_all([path], store=store))
        assert store.dump() == dumped


def test_live_item_by_item(morning, dumped):
    with Store.memory() as store:
        for path in sorted(morning.glob("*.rec"), key=lambda p: open_recording(p).started_s):
            reader = open_recording(path)
            sitting = Sitting(reader.header)
            for item in reader:
                if isinstance(item, bytes):
                    sitting.feed(item)
                elif hasattr(item, "name"):
                    sitting.note(item)
                else:
                    sitting.arrived(item.at_s)
            sitting.close()
            keep(store, sitting.whole(), name=sitting_name(path), digest=reader.digest())
            keep_watch(store)
        assert store.dump() == dumped


def test_a_rebuild_finds_nothing_to_change(morning, dumped, tmp_path):
    with Store(tmp_path / "a.db") as store:
        list(replay_all(sorted(morning.glob("*.rec")), store=store))
    built = rebuild(
        tmp_path / "a.db", sorted(morning.glob("*.rec")), at=datetime(2026, 4, 1, tzinfo=UTC)
    )

    assert built.was_identical
    assert built.errors == ()
