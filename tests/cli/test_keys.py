"""Keys: one each for what both hands need, words only where words are needed."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.cli import keys
from tensionlog.cli.keys import KEYS, TYPED, KeyReader, line_note


def typed(text: str) -> list[dict]:
    reader = KeyReader()
    return [note for note in map(reader.push, text) if note is not None]


@pytest.mark.parametrize("key", [k for k, (name, _) in KEYS.items() if name not in TYPED])
def test_one_key_is_one_note(key):
    assert typed(key) == [{"note": KEYS[key][0]}]
    assert typed(key.upper()) == typed(key)


def test_words_are_taken_up_to_enter():
    assert typed("pX7\n") == [{"note": "place", "position": "X7"}]
    assert typed("bL3\r") == [{"note": "broke", "position": "L3"}]
    assert typed("nodd sound\n") == [{"note": "remark", "text": "odd sound"}]


def test_any_other_note_can_be_typed_with_its_values():
    assert typed(":load mass_kg=10.5\n") == [{"note": "load", "mass_kg": 10.5}]
    assert typed(":inspect item=weave answer=good\n") == [
        {"note": "inspect", "item": "weave", "answer": "good"}
    ]


def test_a_slip_of_the_finger_can_be_taken_back():
    assert typed("pX8\x7f7\n") == [{"note": "place", "position": "X7"}]
    assert typed("pX8\x1br") == [{"note": "redo"}]
    assert typed("p\nr") == [{"note": "redo"}]


def test_keys_that_mean_nothing_do_nothing():
    assert typed("zxy \t\x03") == []


def test_a_typed_note_cannot_say_another_name_or_time():
    (note,) = typed(":load at=yesterday note=redo mass_kg=1\n")

    assert note == {"note": "load", "mass_kg": 1}


@pytest.mark.parametrize(
    ("line", "note"),
    [
        ("r", {"note": "redo"}),
        ("  u  ", {"note": "undo"}),
        ("p X7", {"note": "place", "position": "X7"}),
        ("n odd sound", {"note": "remark", "text": "odd sound"}),
        ("load mass_kg=10", {"note": "load", "mass_kg": 10}),
        (": dial set_N=200", {"note": "dial", "set_N": 200}),
        ("hand-off", {"note": "hand-off"}),
        ("p", None),
        ("", None),
        (":", None),
    ],
)
def test_where_there_is_no_terminal_a_line_is_a_note(line, note):
    assert line_note(line) == note


@given(st.text())
def test_whatever_is_typed_a_note_has_a_name(text):
    for note in [*typed(text), line_note(text)]:
        assert note is None or note["note"]


@pytest.mark.skipif(os.name != "posix", reason="pipes with select are POSIX")
def test_lines_of_a_pipe_become_notes_and_its_end_is_no_trouble(monkeypatch):
    reading, writing = os.pipe()
    with os.fdopen(reading) as stdin:
        monkeypatch.setattr(keys.sys, "stdin", stdin)
        with keys.keyboard() as pressed:
            assert pressed() == []
            os.write(writing, b"r\nload mass_")
            assert pressed() == [{"note": "redo"}]
            os.write(writing, b"kg=2\n")
            assert pressed() == [{"note": "load", "mass_kg": 2}]
            os.close(writing)
            assert pressed() == []


@pytest.mark.skipif(os.name != "posix", reason="terminals are POSIX")
def test_a_terminal_gives_single_keys_and_gets_its_mode_back(monkeypatch):
    import termios

    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    with os.fdopen(slave, closefd=False) as stdin:
        monkeypatch.setattr(keys.sys, "stdin", stdin)
        with keys.keyboard() as pressed:
            os.write(master, b"ru")
            assert pressed() == [{"note": "redo"}, {"note": "undo"}]
    assert termios.tcgetattr(slave) == before
    os.close(master)
    os.close(slave)


def test_no_stdin_is_no_keys(monkeypatch):
    monkeypatch.setattr(keys.sys, "stdin", None)

    with keys.keyboard() as pressed:
        assert pressed() == []
