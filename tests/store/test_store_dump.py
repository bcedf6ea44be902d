"""Equal text means equal content, and back."""

import json
from dataclasses import replace
from hashlib import sha256

import pytest

from tensionlog.store import Store


@pytest.fixture
def store(sittings):
    with Store.memory() as full:
        for sitting in sittings:
            sitting.play(full)
        yield full


def test_every_line_is_json_and_every_table_is_there(store):
    tables = {json.loads(line)[0] for line in store.dump().splitlines()}

    assert tables == {
        "step",
        "calibrations",
        "recordings",
        "faults",
        "notes",
        "jobs",
        "inspections",
        "pulls",
        "pull_flags",
        "traces",
        "checks",
        "holds",
        "head_pulls",
        "turns",
    }


def test_the_digest_is_that_of_the_text(store):
    assert store.dump_sha256() == sha256(store.dump().encode()).hexdigest()


def test_a_single_count_of_one_trace_shows(store, sittings, a_found):
    before = store.dump()
    first = a_found(1)
    counts = first.trace.counts.copy()
    counts[7] += 1
    number = store.recordings()[0].recording_id
    store.add_pulls(number, [replace(first, trace=first.trace._replace(counts=counts))])
    changed = [
        a for a, b in zip(before.splitlines(), store.dump().splitlines(), strict=True) if a != b
    ]

    assert [json.loads(line)[0] for line in changed] == ["traces"]


def test_a_trace_packed_harder_is_the_same_content(store, sittings, monkeypatch):
    before = store.dump()
    monkeypatch.setattr("tensionlog.store.traces._LEVEL", 9)
    sittings[0].play(store)

    assert store.dump() == before


def test_when_the_schema_was_made_does_not_show(store):
    assert "applied_at" not in store.dump()
