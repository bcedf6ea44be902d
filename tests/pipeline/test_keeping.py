"""A sitting in the database: all of it, once, however often and by whatever way it came."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tensionlog.errors import StoreError
from tensionlog.pipeline.keeping import keep, sitting_name
from tensionlog.pipeline.replay import replay
from tensionlog.store import Store


@pytest.fixture
def whole(short_path):
    return replay(short_path)


@pytest.fixture
def store():
    with Store.memory() as store:
        yield store


def test_pulls_come_back_as_they_were_found(whole, store):
    number = keep(store, whole, name="short.rec", digest="ab")

    assert [p.pull for p in store.pulls_in(number)] == [f.pull for f in whole.found]
    assert len(whole.found) == 4


def test_traces_come_back_sample_by_sample(whole, store):
    number = keep(store, whole, name="short.rec", digest="ab")

    for found, stored in zip(whole.found, store.pulls_in(number), strict=True):
        trace = store.trace_of(stored)
        np.testing.assert_array_equal(trace.t_s, found.trace.t_s)
        np.testing.assert_array_equal(trace.counts, found.trace.counts)
        assert len(trace.t_s) > 100


def test_jobs_notes_losses_and_starts_are_there(whole, store):
    number = keep(store, whole, name="short.rec", digest="ab")

    recording = store.recordings()[0]
    assert (recording.recording_id, recording.name, recording.digest) == (
        number,
        "short.rec",
        "ab",
    )
    assert recording.ledger == whole.ledger
    assert recording.boot_starts_s == whole.boot_starts_s == (0.0,)
    assert recording.drift_ppm == whole.drift_ppm
    assert [job.run for job in store.jobs()] == list(whole.runs)
    assert [n.note for n in store.notes()] == sorted(whole.notes, key=lambda n: n.at_s)


def test_keeping_it_again_changes_nothing(whole, store):
    keep(store, whole, name="short.rec", digest="ab")
    once = store.dump()

    keep(store, whole, name="short.rec", digest="ab")

    assert store.dump() == once


def test_answers_of_tests_are_kept_by_their_kind(whole, store):
    answers = {
        "check": {"zero_N": 0.1, "verdict": "good", "points": []},
        "holds": ({"clamp": "A", "give_mm": np.float64(0.5)}, {"clamp": "B", "give_mm": 0.7}),
        "head": [{"set_N": 200.0, "peak_N": 199.0, "at_3s_N": float("nan")}],
        "turn": {"phi_rest": 0.5, "phi_tapped": 0.8, "u": 0.02},
        "stiffness": {"EA_N": 9000.0, "u_EA_N": 100.0},
    }
    keep(store, replace(whole, tests=replace(whole.tests, **answers)), name="a", digest=None)

    assert [a.body["clamp"] for a in store.answers("hold")] == ["A", "B"]
    assert store.answers("head")[0].body["at_3s_N"] is None
    assert [len(store.answers(k)) for k in ("check", "turn", "stiffness")] == [1, 1, 1]


def test_a_sitting_that_cannot_be_stored_leaves_nothing_behind(whole, store):
    before = store.dump()
    broken = replace(whole, found=(replace(whole.found[0], number=2**70),))

    with pytest.raises((StoreError, OverflowError)):
        keep(store, broken, name="short.rec", digest="ab")

    assert store.dump() == before


def test_a_recording_has_one_name_before_and_after_it_is_compressed():
    assert sitting_name(Path("d/a.rec")) == sitting_name(Path("e/a.rec.gz")) == "a.rec"
