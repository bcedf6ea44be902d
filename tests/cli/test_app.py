"""What holds for every command: help, speed of help, errors in one line."""

import subprocess
import sys

import click
import pytest

from tensionlog import __version__
from tensionlog.cli import main
from tensionlog.cli.app import main as app
from tensionlog.errors import StoreError, UsageError

HEAVY = ("numpy", "pandas", "plotly", "scipy", "sqlite_utils", "sqlite3", "serial", "pyarrow")
COMMANDS = (
    "bench", "demo", "export", "ports", "rebuild", "record", "replay", "report", "verify",
)  # fmt: skip


def commands_of(group):
    for name, command in group.commands.items():
        yield name, command
        if isinstance(command, click.Group):
            yield from commands_of(command)


def test_these_commands_are_there():
    assert set(COMMANDS) <= set(app.commands)


@pytest.mark.parametrize("name", sorted(dict(commands_of(app))))
def test_every_command_and_every_option_says_what_it_is_for(name):
    command = dict(commands_of(app))[name]

    assert command.help
    assert len(command.get_short_help_str(limit=60)) < 60
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name


def test_help_loads_nothing_heavy():
    script = (
        "import sys\n"
        "from tensionlog.cli import main\n"
        "main(['--help'], standalone_mode=False)\n"
        f"print([m for m in {HEAVY} if m in sys.modules], file=sys.stderr)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )

    assert "Commands:" in ran.stdout
    assert ran.stderr.strip() == "[]"


def test_a_command_loads_none_of_the_others():
    script = (
        "import sys\n"
        "from tensionlog.cli import main\n"
        "main(['replay', '--help'], standalone_mode=False)\n"
        "print([m for m in sys.modules if m.startswith('tensionlog.cli.')], file=sys.stderr)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60
    )

    assert "tensionlog.cli.replay" in ran.stderr
    assert not any(
        f"tensionlog.cli.{name}'" in ran.stderr for name in ("demo", "record", "check")
    )


def test_python_m_is_the_same_program():
    ran = subprocess.run(
        [sys.executable, "-m", "tensionlog", "--version"],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )

    assert ran.stdout.strip().endswith(__version__)


def test_wrong_usage_is_exit_code_two(run):
    assert run("replay").code == 2
    assert run("replay", "--nonsense", "a").code == 2
    assert run("fly").code == 2


@pytest.fixture
def failing(monkeypatch):
    """Make `ports` raise something."""

    def fail_with(error):
        def raises(**_):
            raise error

        monkeypatch.setattr(main.commands["ports"], "callback", raises)

    return fail_with


def test_our_errors_are_one_line_and_exit_code_one(run, failing):
    failing(StoreError("it is broken. Mend it."))

    ran = run("ports")

    assert (ran.code, ran.err) == (1, "Error: it is broken. Mend it.\n")


def test_what_cannot_be_done_as_asked_is_exit_code_two(run, failing):
    failing(UsageError("not so. Ask otherwise."))

    ran = run("ports")

    assert ran.code == 2
    assert ran.err.splitlines()[-1] == "Error: not so. Ask otherwise."


def test_a_bug_keeps_its_traceback(run, failing):
    failing(ZeroDivisionError("division by zero"))

    with pytest.raises(ZeroDivisionError):
        run("ports")


def test_a_reader_that_has_had_enough_is_no_error(short_path):
    script = f"{sys.executable} -m tensionlog replay {short_path} | true"
    ran = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {script}"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert "Traceback" not in ran.stderr
    assert "Exception" not in ran.stderr


def test_what_the_system_says_of_a_name_is_one_line(run):
    ran = run("replay", "a" * 300)

    assert ran.code == 1
    assert "File name too long" in ran.error
