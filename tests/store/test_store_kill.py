"""A process that is killed loses nothing that it was told was stored."""

import subprocess
import sys
from pathlib import Path

import pytest

from tensionlog.store import Store

# Reports each finished write, then dies in the middle of the next: no closing, no
# clearing up, as after `kill -9`.
_WRITER = """
import os, sys
from datetime import UTC, datetime
from tensionlog.model.recording import Header, Note
from tensionlog.store import Store

store = Store(sys.argv[1])
header = Header(bench="north", purpose="free", started=datetime(2026, 3, 2, tzinfo=UTC))
number = store.begin(header, name="a.rec")
for at in range(int(sys.argv[2])):
    store.add_notes(number, [Note(float(at), "told", {})])
    print(at, flush=True)
with store.transaction():
    store.add_notes(number, [Note(99.0, "half told", {})] * 500)
    os._exit(9)
"""


@pytest.mark.parametrize("writes", [0, 25])
def test_what_was_told_is_there_and_what_was_not_is_not(tmp_path, writes):
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", _WRITER, str(tmp_path / "a.db"), str(writes)]
    run = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    with Store(tmp_path / "a.db", must_exist=True) as store:
        kept = [stored.note.at_s for stored in store.notes()]
        problems = store.quick_check()

    assert (run.returncode, run.stderr) == (9, "")
    assert kept == [float(line) for line in run.stdout.split()] == list(range(writes))
    assert problems == []
