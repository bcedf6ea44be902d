"""What the twin's tests share: reading a recording back by the wire alone."""

import json
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest

from tensionlog.model.lines import DeviceLine, Sample
from tensionlog.twin import Played
from tensionlog.wire import LineDecoder


class ReadBack(NamedTuple):
    """A recording as somebody sees it who has only the file."""

    header: dict
    notes: list[dict]
    lines: list[DeviceLine]
    t_s: np.ndarray
    force_n: np.ndarray

    def level(self, from_s: float, to_s: float) -> float:
        """Mean reading from `from_s` to `to_s`."""
        inside = (self.t_s >= from_s) & (self.t_s < to_s)
        return float(self.force_n[inside].mean())


def device_bytes(recording: bytes) -> bytes:
    kept = [
        line
        for line in recording.split(b"\n")[:-1]
        if not line.startswith((b"# ", b"@ ", b"! "))
    ]
    return b"".join(line + b"\n" for line in kept)


def _read_back(played: Played) -> ReadBack:
    rows = played.recording.split(b"\n")
    header = json.loads(rows[1][2:])
    notes = [json.loads(row[2:]) for row in rows if row.startswith(b"! ")]
    lines = LineDecoder().feed(device_bytes(played.recording))
    samples = [line for line in lines if isinstance(line, Sample)]
    ticks = np.array([s.t_us for s in samples], dtype=float)
    wrapped = np.cumsum(np.diff(ticks, prepend=ticks[:1]) < -(2**31)) * 2.0**32
    t_s = (ticks + wrapped - (ticks[0] if len(ticks) else 0.0)) / 1e6
    counts = np.array([s.counts for s in samples], dtype=float)
    calibration = header.get("calibration", {"zero_counts": 0, "counts_per_N": 1})
    force = (counts - calibration["zero_counts"]) / calibration["counts_per_N"]
    return ReadBack(header, notes, lines, t_s, force)


@pytest.fixture(scope="session")
def read_back() -> Callable[[Played], ReadBack]:
    return _read_back


@pytest.fixture(scope="session")
def said() -> Callable[[bytes], bytes]:
    return device_bytes
