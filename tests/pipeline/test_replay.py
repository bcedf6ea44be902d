"""Recordings again: in the order of their times, the good ones answered, the bad ones told."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Arrival
from tensionlog.pipeline.answers import answer
from tensionlog.pipeline.replay import Replayed, replay, replay_all
from tensionlog.pipeline.sitting import Sitting
from tensionlog.sources.recording import open_recording
from tensionlog.store import Store
from tensionlog.twin import play_job
from tensionlog.twin.played import FIRST_DAY

RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.fixture
def two(tmp_path, short_path):
    """A later and an earlier recording, in this order."""
    began = FIRST_DAY + timedelta(hours=2)
    later = play_job(seed=6, sport="squash", mains=14, at_most=2, pace=0.3, started=began)
    path = tmp_path / "later.rec"
    path.write_bytes(later.recording)
    return [path, short_path]


def test_recordings_are_read_in_the_order_of_their_times(two):
    read = [item.path.name for item in replay_all(two)]

    assert read == ["short.rec", "later.rec"]


@pytest.mark.parametrize("name", ["dirty-line-job", "plain-sketch-job", "morning-check"])
def test_big_pieces_give_what_read_by_read_gives(name):
    """Block by block as a replay reads, and line by line as a live port gives it."""
    reader = open_recording(RECORDINGS / f"{name}.rec.gz")
    sitting = Sitting(reader.header)
    for item in reader:
        if isinstance(item, bytes):
            sitting.feed(item)
        elif isinstance(item, Arrival):
            sitting.arrived(item.at_s)
        else:
            sitting.note(item)
    sitting.close()
    live, replayed = sitting.whole(), replay(reader)

    assert answer(replayed, name=name) == answer(live, name=name)
    assert replayed.drift_ppm == live.drift_ppm
    assert [f.trace.counts.tolist() for f in replayed.found] == [
        f.trace.counts.tolist() for f in live.found
    ]


def test_a_bad_file_is_an_error_and_the_good_ones_are_read(two, tmp_path):
    bad = tmp_path / "bad.rec"
    bad.write_bytes(b"\x89PNG\r\n")
    missing = tmp_path / "missing.rec"

    read = list(replay_all([bad, *two, missing]))

    assert [type(item) for item in read] == [RecordingError] * 2 + [Replayed] * 2


def test_a_ticket_that_contradicts_itself_is_an_error_of_its_file_alone(two):
    text = two[0].read_bytes().replace(b'"mains": 14', b'"mains": -14')
    two[0].write_bytes(text)

    read = list(replay_all(two))

    assert isinstance(read[0], Replayed)
    assert "mains = -14" in str(read[1])


def test_without_a_database_no_samples_are_held(short_path):
    (read,) = replay_all([short_path])

    assert isinstance(read, Replayed)
    assert all(len(found.trace.t_s) == 0 for found in read.whole.found)


def test_with_a_database_each_recording_is_stored_with_the_digest_of_its_bytes(two):
    with Store.memory() as store:
        list(replay_all(two, store=store))

        assert [r.name for r in store.recordings()] == ["short.rec", "later.rec"]
        assert store.recordings()[0].digest == open_recording(two[1]).digest()


def test_the_order_in_which_files_are_named_does_not_change_the_database(two):
    with Store.memory() as one, Store.memory() as other:
        list(replay_all(two, store=one))
        list(replay_all(two[::-1], store=other))

        assert one.dump() == other.dump()


def test_every_byte_of_the_device_is_reported_to_progress(short_path):
    read = []
    replay(short_path, on_bytes=read.append)

    device = b"".join(item for item in open_recording(short_path) if isinstance(item, bytes))
    assert sum(read) == len(device)


def test_keeping_traces_changes_no_number(short_path):
    with_traces = replay(short_path, keep_traces=True)
    without = replay(short_path, keep_traces=False)

    assert [f.pull for f in with_traces.found] == [f.pull for f in without.found]


def test_a_trace_lies_on_the_recordings_own_samples(short_path):
    found = replay(short_path).found[0]

    assert np.all(np.diff(found.trace.t_s) > 0)
    assert found.trace.t_s[0] < found.pull.start_s < found.trace.t_s[-1]
