"""What the tests of faults share: a device that is asked for its truth, and the law."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tensionlog.pipeline.capture import Capture
from tensionlog.pipeline.live import Live
from tensionlog.pipeline.replay import sittings_of
from tensionlog.pipeline.verify import verify_recording
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources.serial_port import open_port

HEADER = {"bench": "north", "purpose": "free", "rate_hz": 80.0, "adc_bits": 24}


def proofs(folder: Path) -> list[Any]:
    """The law on every sitting in a folder; it is what every test of a fault ends in."""
    readers, errors = sittings_of(sorted(folder.glob("*.rec")))
    assert errors == []
    found = [verify_recording(reader) for reader in readers]
    assert [proof.problems for proof in found] == [()] * len(found)
    return found


@pytest.fixture
def law() -> Callable[[Path], list[Any]]:
    """The law, see `proofs`."""
    return proofs


@pytest.fixture
def following(tmp_path):
    """Record a port into a folder, followed live; what is told gathers in `told`."""

    @contextmanager
    def follow(path: str, *, disk: Disk | None = None, **how: Any) -> Iterator["Following"]:
        how.setdefault("reopen", lambda: open_port(path))
        capture = Capture(
            port=open_port(path),
            make_recorder=lambda: Recorder(tmp_path / "r", HEADER, disk=disk),
            **how,
        )
        with Live(capture) as live:
            yield Following(live)

    return follow


class Following:
    """A live sitting and what it has told."""

    def __init__(self, live: Live) -> None:
        self.live = live
        self.told: list[Any] = []

    def until(self, happened: Callable[[], bool], *, longest_s: float = 20.0) -> float:
        """Follow until something has happened; return how long that took."""
        began_s = time.monotonic()
        while not happened():
            assert time.monotonic() - began_s < longest_s, self.told
            self.told += self.live.poll(0.01)
        return time.monotonic() - began_s

    def told_of(self, kind: type) -> list[Any]:
        """What was told of one kind."""
        return [told for told in self.told if isinstance(told, kind)]
