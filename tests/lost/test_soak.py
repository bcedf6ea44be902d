"""A sitting that goes on for hours: no gap, flat memory.

`python tests/lost/test_soak.py --real 3600` records a whole job on a pseudo-terminal for a
real hour through the command that records a bench, and prints what came of it.
`--hours 24` does the same in the time that the machine needs: 24 hours at 80 samples/s
through capture, recorder and live reading, on a clock of their own.
"""

import argparse
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import pytest

from tensionlog.pipeline.capture import Capture, StreamEnded
from tensionlog.pipeline.live import Live, PullFound
from tensionlog.pipeline.verify import verify_recording
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources.recording import open_recording
from tensionlog.sources.serial_port import Ended
from tensionlog.twin import play_job
from tensionlog.twin.pty_link import served
from tensionlog.twin.script_feed import ScriptFeed

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")
RATE_HZ = 80.0


class Soaked(NamedTuple):
    """What came of a long sitting.

    Attributes:
        seconds: How long it was, on the device's clock.
        samples: Sound samples stored.
        missing: Samples declared missing.
        bad_lines: Lines that were damaged.
        problems: What the proof found wrong.
        rss_mb: Memory of the recording program over time, MB.
        pulls: Pulls that were told.
        cpu_s: Processor time it took.
    """

    seconds: float
    samples: int
    missing: int
    bad_lines: int
    problems: tuple[str, ...]
    rss_mb: tuple[float, ...]
    pulls: int
    cpu_s: float

    @property
    def growth_mb(self) -> float:
        """Memory at the end beyond that a third of the way through."""
        return self.rss_mb[-1] - self.rss_mb[len(self.rss_mb) // 3]


def rss_mb(pid: int | str = "self") -> float:
    """Memory of a process that is really in use, MB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def cpu_s(pid: int) -> float:
    """Processor time that a process has taken."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def recorded_for(seconds: float, folder: Path, *, look_every_s: float) -> Soaked:
    """Record the twin's job on a pseudo-terminal with `tensionlog record`, in real time."""
    played = play_job(seed=61, sport="tennis", rate_hz=RATE_HZ)
    header = json.loads(played.recording.split(b"\n")[1][2:])
    calibration = header["calibration"]
    environment = {**os.environ, "TENSIONLOG_CONFIG": str(folder / "config")}
    command = [sys.executable, "-m", "tensionlog"]
    subprocess.run(
        [*command, "bench", "set", "--name", "soak", "--head", header["tensioner"],
         "--tail-m", str(header["tail_m"]), "--rate-hz", str(RATE_HZ),
         "--adc-bits", str(header["adc_bits"]),
         "--zero-counts", str(calibration["zero_counts"]),
         "--counts-per-n", str(calibration["counts_per_N"])],
        env=environment, check=True, capture_output=True,
    )  # fmt: skip
    memory: list[float] = []
    with (
        served(lambda _hz: played.recording, clock=time.monotonic, rate_hz=RATE_HZ) as link,
        (folder / "out.txt").open("w+", encoding="utf-8") as out,
    ):
        child = subprocess.Popen(
            [*command, "record", "--port", link.path, "--folder", str(folder),
             "--db", str(folder / "soak.db"), "--mains", "16", "--crosses", "19",
             "--tension", "55/52"],
            env=environment, stdin=subprocess.PIPE, stdout=out, stderr=out,
        )  # fmt: skip
        ends_s = time.monotonic() + seconds
        while time.monotonic() < ends_s:
            time.sleep(look_every_s)
            memory.append(rss_mb(child.pid))
        took_s = cpu_s(child.pid)
        child.send_signal(signal.SIGINT)
        child.wait(120.0)
        out.seek(0)
        told = out.read()
    (path,) = folder.glob("*.rec")
    proof = verify_recording(open_recording(path))
    assert "Traceback" not in told
    return Soaked(
        seconds=proof.ledger.seconds,
        samples=proof.ledger.samples,
        missing=proof.ledger.missing or 0,
        bad_lines=proof.ledger.bad_lines,
        problems=proof.problems,
        rss_mb=tuple(memory),
        pulls=sum("reading" in line for line in told.splitlines()),
        cpu_s=took_s,
    )


class Hastened:
    """The twin's device on a clock of its own: every read is a fifth of a second later."""

    def __init__(self, recording: bytes, *, hours: float) -> None:
        self.now_s, self._ends_s = 0.0, hours * 3600.0
        self._feed = ScriptFeed(
            lambda _hz: recording, rate_hz=RATE_HZ, speed=1.0, resets_on_open=False
        )
        self._feed.opened(0.0)

    def read(self) -> bytes:
        if self.now_s >= self._ends_s:
            raise Ended("the day is over")
        self.now_s += 0.2
        return self._feed.due(self.now_s, waiting=0)

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass

    def utc_s(self) -> float:
        return 1_772_442_000.0 + self.now_s


def hastened(hours: float, folder: Path, *, strings: int = 16) -> Soaked:
    """Hours at 80/s through capture, recorder and live reading, as fast as they go."""
    played = play_job(
        seed=61, sport="tennis", rate_hz=RATE_HZ, mains=strings, crosses=strings + 3
    )
    port = Hastened(played.recording, hours=hours)
    header = json.loads(played.recording.split(b"\n")[1][2:])
    header.pop("started")
    capture = Capture(
        port=port,
        reopen=lambda: port,
        make_recorder=lambda: Recorder(
            folder, header, disk=Disk(utc_s=port.utc_s, monotonic_s=lambda: port.now_s)
        ),
        clock_s=lambda: port.now_s,
        utc_s=port.utc_s,
    )
    memory, looks, pulls = [], 0, 0
    began_s = time.process_time()
    with Live(capture, in_step=True) as live:
        news: list[object] = []
        while not any(isinstance(told, StreamEnded) for told in news):
            news = [*live.poll(0.0)]
            pulls += sum(isinstance(told, PullFound) for told in news)
            if port.now_s >= looks * 600.0:
                looks += 1
                memory.append(rss_mb())
        _, whole = live.finish()
    took_s = time.process_time() - began_s
    (path,) = folder.glob("*.rec")
    proof = verify_recording(open_recording(path))
    assert whole is not None
    return Soaked(
        seconds=proof.ledger.seconds,
        samples=proof.ledger.samples,
        missing=proof.ledger.missing or 0,
        bad_lines=proof.ledger.bad_lines,
        problems=proof.problems,
        rss_mb=tuple(memory),
        pulls=pulls,
        cpu_s=took_s,
    )


def test_a_job_on_a_clock_of_its_own_has_no_gap(tmp_path):
    soaked = hastened(0.03, tmp_path, strings=2)

    assert (soaked.missing, soaked.problems, soaked.bad_lines) == (0, (), 0)
    assert soaked.samples == pytest.approx(0.03 * 3600 * RATE_HZ, rel=0.02)
    assert soaked.pulls >= 2


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_a_day_at_80_a_second_has_no_gap_and_flat_memory(tmp_path):
    soaked = hastened(24.0, tmp_path)

    assert (soaked.missing, soaked.problems, soaked.bad_lines) == (0, (), 0)
    assert soaked.samples == pytest.approx(24 * 3600 * RATE_HZ, rel=0.02)
    assert soaked.growth_mb < 10.0


@posix
@pytest.mark.slow
def test_a_real_minute_loses_nothing(tmp_path):
    soaked = recorded_for(60.0, tmp_path, look_every_s=1.0)

    assert (soaked.missing, soaked.problems) == (0, ())
    assert soaked.bad_lines <= 1  # the line in whose middle the port was opened
    assert soaked.samples == pytest.approx(soaked.seconds * RATE_HZ, abs=2)
    assert soaked.growth_mb < 10.0


def main() -> None:
    """Run the long form and print what came of it."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("--real", type=float, metavar="SECONDS")
    asked.add_argument("--hours", type=float)
    given = asked.parse_args()
    with TemporaryDirectory() as folder:
        if given.real:
            soaked = recorded_for(given.real, Path(folder), look_every_s=10.0)
            sys.stdout.write(f"{soaked}\ngrowth {soaked.growth_mb:.1f} MB\n")
        if given.hours:
            soaked = hastened(given.hours, Path(folder))
            sys.stdout.write(f"{soaked}\ngrowth {soaked.growth_mb:.1f} MB\n")


if __name__ == "__main__":
    main()
