"""What commands say: JSON without NaN, one line whatever the text, bars only to people."""

import math

import pytest

from tensionlog.cli.say import failed, json_line, one_line, progress, warn


def test_json_is_one_line_and_keeps_the_alphabet(capsys):
    json_line({"owner": "Gößl\n", "x": None})

    assert capsys.readouterr().out == '{"owner": "Gößl\\n", "x": null}\n'


def test_a_number_that_is_none_is_never_printed():
    with pytest.raises(ValueError, match="JSON"):
        json_line({"x": math.nan})


def test_a_text_from_outside_is_one_line_that_moves_no_cursor():
    assert one_line("a\r\n\tb\x1b[2J\x07") == "a b?[2J?"


def test_warnings_and_errors_go_to_stderr(capsys):
    warn("a\nb")
    failed(ValueError("c\nd"))

    said = capsys.readouterr()
    assert (said.out, said.err) == ("", "Warning: a b\nError: c d\n")


def test_no_bar_is_drawn_where_stderr_is_no_terminal(capsys):
    with progress(10, "reading") as bar:
        bar.update(10)

    assert capsys.readouterr() == ("", "")
