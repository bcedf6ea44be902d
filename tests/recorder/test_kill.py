"""A recorder that is killed: what it said it had, the file has."""

import random
import subprocess
import sys

import pytest

CHILD = """
import sys
from pathlib import Path
from tensionlog.recorder import Recorder
recorder = Recorder(Path(sys.argv[1]), {"bench": "killed", "purpose": "free"})
print(recorder.path, flush=True)
for n in range(1_000_000):
    recorder.received(b"S,%d,0,0*0000\\n" % n)
    print(n, flush=True)
"""


def acknowledged_and_found(folder, lines: int) -> tuple[int, int]:
    """Kill after `lines` acknowledgements; the last one read, and the last one on disk."""
    command = [sys.executable, "-c", CHILD, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        path = child.stdout.readline().strip()
        acknowledged = [int(child.stdout.readline()) for _ in range(lines)][-1]
        child.kill()
    with open(path, "rb") as file:  # noqa: PTH123 - bytes as they lie there
        found = [line for line in file.read().split(b"\n")[:-1] if line.startswith(b"S,")]
    assert [int(line.split(b",")[1]) for line in found] == list(range(len(found)))
    return acknowledged, len(found) - 1


def test_a_killed_recorder_has_written_what_it_acknowledged(tmp_path):
    acknowledged, found = acknowledged_and_found(tmp_path, 300)
    assert found >= acknowledged == 299


@pytest.mark.slow
def test_however_often_and_whenever_it_is_killed(tmp_path):
    rng = random.Random(20260302)
    for _ in range(30):
        acknowledged, found = acknowledged_and_found(tmp_path, rng.randint(1, 2000))
        assert found >= acknowledged
