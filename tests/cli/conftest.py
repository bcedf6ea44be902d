"""What the tests of the commands share: a runner, a short job, its database."""

import json
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from click.testing import CliRunner

from tensionlog.cli import main
from tensionlog.twin import Played, play_job


class Ran(NamedTuple):
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str

    @property
    def rows(self) -> list[Any]:
        """The JSON lines of its output."""
        return [json.loads(line) for line in self.out.splitlines()]

    @property
    def error(self) -> str:
        """The one line that it failed with."""
        (line,) = self.err.splitlines()
        assert line.startswith("Error: ")
        return line.removeprefix("Error: ")


@pytest.fixture(autouse=True)
def own_config(monkeypatch, tmp_path) -> Path:
    """No test reads or writes the set-up of whoever runs it."""
    folder = tmp_path / "config"
    monkeypatch.setenv("TENSIONLOG_CONFIG", str(folder))
    return folder


@pytest.fixture
def run():
    """Run a command in this process."""

    def ran(*arguments: object) -> Ran:
        result = CliRunner().invoke(main, [str(a) for a in arguments])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception  # a traceback is a bug, whatever the test asks for
        return Ran(result.exit_code, result.stdout, result.stderr)

    return ran


@pytest.fixture(scope="session")
def short_job() -> Played:
    """Three strings, one of them made again."""
    return play_job(
        seed=5, sport="squash", mains=2, crosses=1, mishaps={"R1": "redo"}, pace=0.3
    )


@pytest.fixture
def short_path(short_job, tmp_path) -> Path:
    path = tmp_path / "short.rec"
    path.write_bytes(short_job.recording)
    return path


@pytest.fixture(scope="session")
def stored_once(short_job, tmp_path_factory) -> bytes:
    """The bytes of a database that holds the short job."""
    folder = tmp_path_factory.mktemp("stored")
    (folder / "short.rec").write_bytes(short_job.recording)
    result = CliRunner().invoke(
        main, ["replay", str(folder / "short.rec"), "--db", str(folder / "a.db")]
    )
    assert result.exit_code == 0
    return (folder / "a.db").read_bytes()


@pytest.fixture
def db(stored_once, tmp_path) -> Path:
    path = tmp_path / "a.db"
    path.write_bytes(stored_once)
    return path
