"""Notes with numbers that are none: used without them, kept as they were written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.recording import Note
from tensionlog.pipeline.keeping import keep
from tensionlog.pipeline.plausible import NUMBERS, usable
from tensionlog.pipeline.replay import replay
from tensionlog.store import Store

anything = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=4,
)


@given(st.sampled_from(sorted(NUMBERS)), anything)
def test_what_is_left_in_a_note_is_a_number(name, value):
    body = {"note": name, **dict.fromkeys(NUMBERS[name], value), "remark": value}

    note, said = usable(Note(0.0, name, body))

    left = {key: note.body[key] for key in NUMBERS[name] if key in note.body}
    assert all(type(number) in (int, float) and abs(number) <= 1e9 for number in left.values())
    assert len(left) + len(said) == len(NUMBERS[name]) or value is None
    assert repr(note.body["remark"]) == repr(value)


@pytest.mark.parametrize("mass", [0, 10, 10.5, -1.0])
def test_a_note_with_numbers_is_passed_on_as_it_is(mass):
    note = Note(0.0, "load", {"note": "load", "mass_kg": mass})

    assert usable(note) == (note, [])


def test_a_note_that_nobody_knows_is_nobodys_business():
    note = Note(0.0, "weather", {"note": "weather", "mass_kg": "ten"})

    assert usable(note) == (note, [])


def test_a_recording_with_such_a_note_is_read_with_a_warning_and_the_note_is_kept(short_path):
    odd = b'! {"at": "2026-03-02T09:00:20Z", "note": "load", "mass_kg": "ten"}\n'
    short_path.write_bytes(short_path.read_bytes() + odd)

    whole = replay(short_path)

    assert whole.warnings == (
        "the note 'load' says mass_kg = 'ten', which is no number: left out.",
    )
    assert whole.notes[-1].body["mass_kg"] == "ten"
    with Store.memory() as store:
        keep(store, whole, name="a", digest=None)
        assert store.notes("load")[0].note.body["mass_kg"] == "ten"
