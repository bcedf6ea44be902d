"""Replay end to end: the reading in a process that is warm, the command with its start."""

import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from tests.benchmarks.data import Scale
from tests.benchmarks.measured import Row, seconds

_LAUNCH = """
import os, subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
_, status, used = os.wait4(child.pid, 0)
if status:
    sys.exit(1)
print(used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


def rows(jobs: Mapping[str, tuple[Path, list[dict]]], scale: Scale) -> Iterator[Row]:
    """Times real time, samples a second and memory of each job."""
    from tensionlog.pipeline.replay import replay

    for name, (path, _) in jobs.items():
        whole = replay(path, keep_traces=False)
        ledger = whole.ledger
        work_s, stream_s, decode_s = seconds(
            lambda path=path: replay(path, keep_traces=False),
            lambda path=path: _without_pulls(path),
            lambda path=path: _decoded(path),
            times=scale.times,
        )
        each_ms = (work_s - stream_s) / len(whole.found) * 1e3
        yield Row(
            group="replay", what=f"{name}: {len(whole.found)} pulls in {ledger.seconds:.0f} s",
            figure=ledger.seconds / work_s, unit="x real time", peer="decode alone",
            peer_figure=ledger.seconds / decode_s, note=f"{each_ms:.1f} ms a pull",
        )  # fmt: skip
        yield Row(
            group="replay", what="its stream alone, no pull read",
            figure=ledger.samples / stream_s / 1e3, unit="k samples/s", peer="decode alone",
            peer_figure=ledger.samples / decode_s / 1e3,
        )  # fmt: skip
    yield from _command(*next(iter(jobs.items())))


def _command(name: str, job: tuple[Path, list[dict]]) -> Iterator[Row]:
    """The command in a process of its own, its start and all."""
    whole_s, kilobytes = _run(
        [sys.executable, "-m", "tensionlog", "replay", str(job[0]), "--json"]
    )
    bare_s, bare_kb = _run([sys.executable, "-c", "import numpy"])
    yield Row(
        group="replay", what=f"`replay --json` of {name}", figure=whole_s,
        unit="s of processor", peer="`import numpy`", peer_figure=bare_s,
    )  # fmt: skip
    yield Row(
        group="replay", what="its peak memory", figure=kilobytes / 1e3, unit="MB",
        peer="`import numpy`", peer_figure=bare_kb / 1e3,
    )  # fmt: skip


def _run(command: list[str]) -> tuple[float, float]:
    """Processor seconds and peak kilobytes of a command.

    A small process starts it: a child begins with its parent's peak, and ours is large.
    """
    ran = subprocess.run(
        [sys.executable, "-c", _LAUNCH, *command],
        check=True, capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    spent_s, peak = map(float, ran.stdout.split())
    return spent_s, peak / (1024.0 if sys.platform == "darwin" else 1.0)


def _without_pulls(path: Path) -> None:
    from tensionlog.model.recording import Note
    from tensionlog.pulls.finder import StretchFinder
    from tensionlog.sources import open_recording
    from tensionlog.timeline import Readings, Timeline, joined
    from tensionlog.wire import LineDecoder

    reader, decoder = open_recording(path), LineDecoder()
    header = reader.header
    line = Timeline(
        rate_hz=header.rate_hz, adc_bits=header.adc_bits, started_s=header.started.timestamp()
    )
    scale = header.calibration.newtons_per_count(0.0)
    finder = StretchFinder(newtons_per_count=scale, rate_hz=header.rate_hz)
    for item in reader.pieces():
        if isinstance(item, Note):
            continue
        events = line.feed_columns(
            decoder.columns(item.data), begins=item.begins, at_s=item.at_s
        )
        for event in joined(events):
            if isinstance(event, Readings):
                finder.push_many(*event)


def _decoded(path: Path) -> None:
    from tensionlog.model.recording import Note
    from tensionlog.sources import open_recording
    from tensionlog.wire import LineDecoder

    decoder = LineDecoder()
    for item in open_recording(path).pieces():
        if not isinstance(item, Note):
            decoder.columns(item.data)


def wall_s(command: list[str], times: int) -> float:
    """Least time that a command takes by the clock on the wall."""
    least = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True, timeout=600)
        least = min(least, time.perf_counter() - begin)
    return least
