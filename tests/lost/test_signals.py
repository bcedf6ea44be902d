"""C4: Ctrl-C, a closed terminal, a shutdown, at random instants of a recording.

Whatever was read by then is closed and safe, and the way it ended is told by the exit code.
"""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tensionlog.twin import play_job
from tensionlog.twin.pty_link import served

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")

ROOT = Path(__file__).parents[2]
PLAYED = play_job(seed=3, mains=2, crosses=0, pace=0.0)
ENDS_WITHIN_S = 10.0
"""A second on a machine that is not shared by ten others."""

# Everything is imported once; each recording is a fork of it.
ZYGOTE = """
import os, sys
import numpy, scipy.linalg
from tensionlog.cli import main
import tensionlog.cli.record, tensionlog.pipeline.live, tensionlog.sources.busy_port

port = sys.argv[1]
for folder in sys.stdin:
    pid = os.fork()
    if pid == 0:
        keys, _kept_open = os.pipe()
        os.dup2(keys, 0)
        os.dup2(os.open(folder.strip() + ".said", os.O_CREAT | os.O_WRONLY | os.O_APPEND), 2)
        os.dup2(2, 1)
        sys.argv = ["tensionlog", "record", "--port", port, "--no-db",
                    "--folder", folder.strip()]
        try:
            main()
        except SystemExit as ended:
            sys.stderr.flush()
            os._exit(ended.code or 0)
    print(pid, flush=True)
    print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
"""


def interrupted(times: int, folder: Path, law, *, seed: int) -> int:
    """Interrupt so many recordings; return how many had begun to be written by then."""
    rng, written = random.Random(seed), 0
    with served(
        lambda _hz: PLAYED.recording, clock=time.monotonic, speed=3.0, resets_on_open=False
    ) as link:
        zygote = subprocess.Popen(
            [sys.executable, "-c", ZYGOTE, link.path], cwd=ROOT, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        for n in range(times):
            number = rng.choice([signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
            after_s, at_once = rng.uniform(0.0, 0.4), rng.random() < 0.2
            written += _one(
                zygote, link, folder / str(n), number, after_s, law, at_once=at_once
            )
        zygote.communicate(timeout=30.0)
    return written


def _one(zygote, link, folder, number, after_s, law, *, at_once) -> bool:
    openings = link.openings
    zygote.stdin.write(f"{folder}\n")
    zygote.stdin.flush()
    pid = int(zygote.stdout.readline())
    deadline_s = time.monotonic() + 30.0
    while not (link.openings > openings if at_once else any(folder.glob("*.rec"))):
        assert time.monotonic() < deadline_s
        time.sleep(0.001)
    time.sleep(after_s)
    os.kill(pid, number)
    began_s = time.monotonic()
    code = int(zygote.stdout.readline())
    assert time.monotonic() - began_s < ENDS_WITHIN_S
    said = Path(f"{folder}.said").read_text()
    assert "Traceback" not in said
    files = sorted(folder.glob("*.rec"))
    if not files:
        return False  # it came before the first byte
    (proof,) = law(folder)
    assert proof.ledger.missing == 0
    assert proof.ledger.bad_lines <= 1  # listening began in mid-line
    assert f"Closed and safe: {files[0]}" in said
    assert code == (0 if number == signal.SIGINT else 128 + number)
    return True


@pytest.mark.long
def test_c4_signals_at_random_instants_close_what_was_read(tmp_path, law):
    assert interrupted(2, tmp_path, law, seed=7) >= 1


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_c4_200_signals(tmp_path, law):
    assert interrupted(200, tmp_path, law, seed=int(time.time())) >= 150
