"""How a bench stands at a glance: what the watch left, or nothing where it is behind."""

import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest

from tensionlog.store import Store
from tensionlog.store.glance import glance

from .conftest import HEADER


def stored(path, *, bench="north", hours=0, watched=True):
    with Store(path) as store:
        header = replace(HEADER, bench=bench, started=HEADER.started + timedelta(hours=hours))
        number = store.begin(header, name="a.rec", digest=None)
        if watched:
            store.history.watched(number, [])
            store.history.glanced(bench, {"bench": bench, "alerts": []})


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "a.db"
    stored(path)
    return path


def test_the_bench_of_the_latest_sitting_or_the_one_asked_for(path):
    stored(path, bench="south", hours=-1)

    assert glance(path, None)["bench"] == "north"
    assert glance(path, "south")["bench"] == "south"
    assert glance(path, "west") is None


def test_a_sitting_that_waits_means_no_glance(path):
    stored(path, hours=1, watched=False)

    assert glance(path, None) is None


def test_what_cannot_be_read_is_left_to_the_long_way(tmp_path):
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as db:
        db.execute("CREATE TABLE recordings (bench TEXT)")
    db.close()
    junk = tmp_path / "junk.db"
    junk.write_text("no database at all")

    assert glance(tmp_path / "none.db", None) is None
    assert glance(other, None) is None
    assert glance(junk, None) is None


def test_a_database_without_sittings_has_none(tmp_path):
    with Store(tmp_path / "a.db"):
        pass

    assert glance(tmp_path / "a.db", None) is None


def test_a_look_leaves_nothing_behind(path):
    before = sorted(p.name for p in path.parent.iterdir())
    assert glance(path, None) is not None

    assert sorted(p.name for p in path.parent.iterdir()) == before


def test_nothing_heavy_is_imported_for_it():
    told = "import sys, tensionlog.store.glance as g; print(*sys.modules)"
    ran = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True)

    assert {"pandas", "numpy", "sqlite_utils"}.isdisjoint(ran.stdout.split())
