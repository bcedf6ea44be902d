"""Old and new databases end up equal; a step is whole or not there."""

from contextlib import closing

import pytest
from sqlite_utils import Database

from tensionlog.store import schema
from tensionlog.store.migrations import STEPS, migrations


@pytest.fixture
def db():
    with closing(Database(memory=True)) as fresh:
        yield fresh


def test_the_list_of_steps_is_complete_and_in_order(db):
    assert [step.name for step in migrations.pending(db)] == list(STEPS)


def test_names_of_steps_sort_as_they_are_applied():
    assert sorted(STEPS) == list(STEPS)


@pytest.mark.parametrize("step", STEPS)
def test_a_database_of_any_age_ends_up_like_a_new_one(db, step):
    with closing(Database(memory=True)) as new:
        migrations.apply(new)
        migrations.apply(db, stop_before=step)
        migrations.apply(db)

        assert db.schema == new.schema


def test_rows_of_an_old_database_are_kept(db):
    migrations.apply(db, stop_before=STEPS[1])
    db.execute(
        "INSERT INTO recordings (recording_id, bench, started_utc, purpose, name, header)"
        " VALUES (7, 'north', '2026-03-02T09:00:00.000000Z', 'job', 'a.rec', '{}')"
    )
    migrations.apply(db)

    assert db.execute("SELECT recording_id, bench FROM recordings").fetchall() == [(7, "north")]


def test_a_step_that_fails_leaves_nothing_behind(db, monkeypatch):
    monkeypatch.setattr(
        schema, "JOBS", f"{schema.JOBS}; CREATE TABLE broken (a NONSENSE) STRICT;"
    )
    with pytest.raises(Exception, match="unknown datatype"):
        migrations.apply(db)

    assert "jobs" not in db.table_names()
    assert [step.name for step in migrations.applied(db)] == list(STEPS[:1])


def test_every_column_that_holds_a_force_or_a_time_names_its_unit(db):
    """Told by the nouns' own fields: a real without a unit must be on this short list."""
    without_unit = {"phi_max", "phi_rest", "phi_tapped", "u", "relaxation_per_decade"}
    units = ("_n", "_s", "_m", "_mm", "_c", "_hz", "_ppm", "_pct", "_counts")
    migrations.apply(db)
    reals = {
        row[1]
        for table in db.table_names()
        for row in db.execute(f"PRAGMA table_xinfo({table})")
        if row[2] == "REAL"
    }

    assert {name for name in reals if not name.endswith(units)} == without_unit
