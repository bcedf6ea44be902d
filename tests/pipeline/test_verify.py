"""The database says what the recordings say, or it is found out."""

import sqlite3

import pytest

from tensionlog.pipeline.replay import replay_all
from tensionlog.pipeline.verify import stored_sitting, verify_recording, verify_stored
from tensionlog.sources.recording import open_recording
from tensionlog.store import Store


@pytest.fixture
def db(short_path, tmp_path):
    path = tmp_path / "a.db"
    with Store(path) as store:
        list(replay_all([short_path], store=store))
    return path


def spoil(db, sql: str) -> None:
    connection = sqlite3.connect(db)
    connection.execute(sql)
    connection.commit()
    connection.close()


def differences(db, path) -> list[str]:
    with Store(db) as store:
        return verify_stored(open_recording(path), store)


def test_a_database_made_from_the_recording_agrees_with_it(db, short_path):
    assert differences(db, short_path) == []
    with Store(db) as store:
        proof = verify_recording(open_recording(short_path), store=store)
    assert proof.problems == ()


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("UPDATE pulls SET release_n = release_n + 0.001 WHERE number = 3", "its pulls"),
        ("UPDATE pulls SET position = 'L9' WHERE number = 1", "its pulls"),
        ("DELETE FROM pulls WHERE number = 4", "its pulls"),
        ("UPDATE recordings SET missing = 1", "its header and losses"),
        ("DELETE FROM notes WHERE number = 1", "its notes"),
        ("UPDATE jobs SET bed = 2", "its jobs"),
        ("INSERT INTO turns (recording_id, number, answer)"
         " SELECT recording_id, 1, '{}' FROM recordings", "its answers"),
        ("UPDATE recordings SET sha256 = 'ab'", "from other bytes"),
        ("DELETE FROM recordings", "does not have it"),
    ],
)  # fmt: skip
def test_whatever_was_changed_in_the_database_is_told(db, short_path, sql, said):
    connection = sqlite3.connect(db)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(sql)
    connection.commit()
    connection.close()

    found = differences(db, short_path)

    assert len(found) >= 1
    assert said in found[0]


def test_samples_of_another_pull_are_told(db, short_path):
    spoil(
        db,
        "UPDATE traces SET samples_zlib ="
        " (SELECT samples_zlib FROM traces WHERE pull_number = 2) WHERE pull_number = 1",
    )

    assert differences(db, short_path) == [
        "the samples of pull 1 are not those of the recording"
    ]


def test_a_sample_that_the_recording_does_not_hold_is_false(db, short_path):
    from tensionlog.model.pull import Trace
    from tensionlog.store.traces import decode, encode

    connection = sqlite3.connect(db)
    (blob,) = connection.execute(
        "SELECT samples_zlib FROM traces WHERE pull_number = 1"
    ).fetchone()
    trace = decode(blob)
    counts = trace.counts.copy()
    counts[5] += 1
    bent = encode(Trace(trace.boot, trace.t_s, counts))
    connection.execute("UPDATE traces SET samples_zlib = ? WHERE pull_number = 1", [bent])
    connection.commit()
    connection.close()

    with Store(db) as store:
        proof = verify_recording(open_recording(short_path), store=store)

    assert proof.false == 1


def test_a_recording_that_grew_since_is_told(db, short_path):
    with short_path.open("ab") as file:
        file.write(b"K,more*0000\n")

    assert differences(db, short_path) == [
        "the database was made from other bytes than the file holds now"
    ]


def test_a_sitting_is_found_by_bench_and_start(db, short_path):
    with Store(db) as store:
        assert stored_sitting(open_recording(short_path), store) is not None


def test_progress_is_told_of_every_byte(short_path):
    read = []
    verify_recording(open_recording(short_path), on_bytes=read.append)

    assert sum(read) > 90_000
