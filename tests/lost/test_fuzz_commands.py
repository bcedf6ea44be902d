"""Whatever is typed and whatever the files hold: an answer or one line, never a traceback.

Commands run in this process on files of the test's own folder, with arguments that are
drawn: real options with values that fit, values that do not, and words from nowhere.
"""

import os

import click
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tensionlog.cli import main
from tensionlog.twin import play_job

WAITS = {"demo", "serve", "record", "check", "hold", "device", "doctor"}
"""Commands that open ports or run for long; their arguments are drawn with `--help` last."""

SHORT = play_job(seed=5, sport="squash", mains=1, crosses=0, pace=0.0).recording
CONTENTS = [
    b"", b"\x00" * 64, b"PK\x03\x04", SHORT[:3000], SHORT[:400], b"{}", b"[1]\nx = ",
    b'# tensionlog-recording 1\n# {"bench": 1}\n', b"SQLite format 3\x00" + b"\x00" * 100,
]  # fmt: skip
WORDS = [
    "",
    "-",
    "--",
    "0",
    "-1",
    "nan",
    "1e999",
    "26/24",
    "T-1",
    "N",
    "‮",
    "a" * 300,
    "%s",
    "\t",
]


def commands(group: click.Command = main, name: tuple[str, ...] = ()):
    for key, command in getattr(group, "commands", {}).items():
        yield (*name, key), command
        yield from commands(command, (*name, key))


COMMANDS = dict(commands())


@st.composite
def command_lines(draw):
    """A command with some of its options and some words."""
    name = draw(st.sampled_from(sorted(COMMANDS)))
    options = [o for p in COMMANDS[name].params for o in p.opts if o.startswith("--")]
    files = st.integers(0, len(CONTENTS) - 1).map(lambda n: f"f{n}")
    word = st.sampled_from(WORDS) | files | st.just("none/there") | st.text(max_size=8)
    words = draw(st.lists(st.sampled_from([*options, "--what"]) | word, max_size=6))
    last = ["--help"] if name[0] in WAITS else []
    return [*name, *(w.replace("\x00", "") for w in words), *last]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for number, content in enumerate(CONTENTS):
        (tmp_path / f"f{number}").write_bytes(content)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TENSIONLOG_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


def typed(arguments: list[str]) -> None:
    """Run it; only an end that click knows is an end."""
    ran = CliRunner().invoke(main, arguments, input="n\n")
    if ran.exception is not None and not isinstance(ran.exception, SystemExit):
        raise AssertionError(arguments) from ran.exception
    assert ran.exit_code in (0, 1, 2), arguments
    assert "Traceback" not in ran.output


SETTINGS = {"suppress_health_check": [HealthCheck.function_scoped_fixture]}


@settings(max_examples=30, **SETTINGS)
@given(arguments=command_lines())
def test_whatever_is_typed_no_command_ends_in_a_traceback(folder, arguments):
    typed(arguments)


@pytest.mark.slow
@pytest.mark.timeout(3000)
@settings(max_examples=int(os.environ.get("TENSIONLOG_FUZZ", "3000")), **SETTINGS)
@given(arguments=command_lines())
def test_three_thousand_command_lines(folder, arguments):
    typed(arguments)


READERS = [
    ["replay", "{}"], ["replay", "{}", "--json"], ["verify", "{}"],
    ["replay", "{}", "--db", "x.db"], ["rebuild", "{}", "--db", "y.db"], ["import", "{}"],
    ["restore", "{}"], ["report", "--db", "{}"], ["verify", "f3", "--db", "{}"],
    ["export", "--db", "{}", "--out", "p.csv"], ["status", "--db", "{}", "--json"],
    ["hold", "{}"],
]  # fmt: skip


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_of_every_kind_of_file_a_command_makes_an_answer_or_one_line(folder, command):
    for number in range(len(CONTENTS)):
        typed([word.format(f"f{number}") for word in command])
