"""What is said of a live sitting: pulls on stdout, all else on stderr."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tensionlog.cli.session import Session
from tensionlog.errors import LinkError
from tensionlog.model.recording import Note
from tensionlog.pipeline.capture import Gone, Heard, Quiet, Started, StreamEnded
from tensionlog.pipeline.live import Garbage, NoteTaken, PullFound
from tensionlog.pipeline.replay import replay


def session(**changes):
    return Session(**{"port": "/dev/ttyX", "baud": 9600, "unit": "N", **changes})


@pytest.fixture
def begun():
    """A session whose recording has begun."""
    session_ = session()
    session_.say(Started(Path("r/a.rec")))
    return session_


def test_a_pull_goes_to_stdout_and_a_changed_one_says_so(begun, short_path, capsys):
    found = replay(short_path).found[0]
    capsys.readouterr()
    begun.say(PullFound(found, again=False))
    begun.say(PullFound(replace(found, number=2), again=True))

    said = capsys.readouterr()
    assert said.out.splitlines()[0].startswith("   1  L1 ")
    assert said.out.splitlines()[1].endswith("(changed)")
    assert said.err == ""


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (Quiet(2.0), "QUIET: nothing has come for 2 s"),
        (Gone("lost /dev/ttyX: gone."), "GONE: lost /dev/ttyX: gone."),
        (Heard(7.25), "It is there again, after 7.2 s."),
        (StreamEnded("closed by the other side."), "closed by the other side."),
        (
            NoteTaken(Note(0.0, "place", {"note": "place", "at": "x", "position": "X7\x1b"})),
            "  place position X7?".strip(),
        ),
    ],
)
def test_quiet_gone_and_ended_are_said_in_different_words(begun, told, words, capsys):
    capsys.readouterr()
    begun.say(told)

    said = capsys.readouterr()
    assert words in said.err
    assert said.out == ""


def test_a_device_that_is_silent_from_the_start_is_an_error_unless_it_is_waited_for(capsys):
    with pytest.raises(LinkError, match="9600 baud and silent for 3 s"):
        session().say(Quiet(3.0))

    session(patient=True).say(Quiet(3.0))

    assert "Waiting" in capsys.readouterr().err


def test_a_port_that_goes_before_it_has_spoken_is_an_error_unless_it_is_waited_for():
    with pytest.raises(LinkError, match="lost it"):
        session().say(Gone("lost it"))

    session(patient=True).say(Gone("lost it"))


def test_garbage_is_an_error_that_names_speed_and_file(begun):
    with pytest.raises(LinkError, match=r"512 bytes came .* at 9600 baud .* kept in r/a\.rec"):
        begun.say(Garbage(512))


def test_a_time_is_not_repeated_in_a_note(begun, capsys):
    at = datetime(2026, 3, 2, tzinfo=UTC).isoformat()
    begun.say(NoteTaken(Note(0.0, "redo", {"note": "redo", "at": at})))

    assert capsys.readouterr().err.splitlines()[-1].strip() == "redo"
