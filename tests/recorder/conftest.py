"""A disk in memory that fails when it is told to, and clocks that are set by hand."""

import errno
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tensionlog.recorder import Disk

START_S = 1772442000.0


@dataclass
class FakeDisk:
    """Files in memory; what was synced is kept apart from what was only written.

    Attributes:
        fails: Name of a call and its number (from 1) at which the disk breaks.
        lasting: How many calls fail from there on.
        takes: Bytes that one write takes at most.
        room: Bytes that fit on the disk.
    """

    fails: tuple[str, int] = ("", 0)
    lasting: int = 1
    takes: int = 1 << 30
    room: int = 1 << 30
    now_s: float = 0.0
    step_s: float = 0.0
    files: dict[str, bytearray] = field(default_factory=dict)
    durable: dict[str, bytes] = field(default_factory=dict)
    calls: list[str] = field(default_factory=list)
    names: dict[int, str] = field(default_factory=dict)

    def _call(self, name: str) -> None:
        self.calls.append(name)
        number = self.calls.count(name)
        which, first = self.fails
        if name == which and first <= number < first + self.lasting:
            raise OSError(errno.EIO, "Input/output error")

    def create(self, path: Path) -> int:
        """Make an empty file."""
        self._call("create")
        if path.name in self.files:
            raise FileExistsError(errno.EEXIST, "exists", str(path))
        self.files[path.name] = bytearray()
        descriptor = 100 + len(self.calls)
        self.names[descriptor] = path.name
        return descriptor

    def write(self, descriptor: int, data: bytes) -> int:
        """Take some of `data`; a full disk takes what fits, then nothing."""
        self._call("write")
        left = self.room - sum(map(len, self.files.values()))
        if left <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = data[: min(self.takes, left)]
        self.files[self.names[descriptor]] += taken
        return len(taken)

    def sync(self, descriptor: int) -> None:
        """Make durable; a failed sync forgets what was not, as systems do."""
        name = self.names[descriptor]
        try:
            self._call("sync")
        except OSError:
            self.files[name] = bytearray(self.durable.get(name, b""))
            raise
        self.durable[name] = bytes(self.files[name])

    def close(self, descriptor: int) -> None:
        """Give the descriptor back; twice is a mistake."""
        del self.names[descriptor]

    def sync_folder(self, folder: Path) -> None:
        """Make names durable."""
        assert folder
        self._call("sync_folder")

    def rename(self, old: Path, new: Path) -> None:
        """Give a file its name; an open one keeps its descriptor."""
        self._call("rename")
        self.files[new.name] = self.files.pop(old.name)
        self.durable[new.name] = self.durable.pop(old.name)
        self.names = {k: new.name if v == old.name else v for k, v in self.names.items()}

    def exists(self, path: Path) -> bool:
        """Whether there is such a file."""
        return path.name in self.files

    def is_deleted(self, descriptor: int) -> bool:
        """Whether the file was deleted while it was open."""
        return self.names[descriptor] not in self.files

    def remove(self, path: Path) -> None:
        """Delete a file."""
        self._call("remove")
        del self.files[path.name]
        self.durable.pop(path.name, None)

    def utc_s(self) -> float:
        """Wall clock."""
        self.now_s += self.step_s
        return START_S + self.now_s

    def monotonic_s(self) -> float:
        """The same without a date."""
        return self.now_s

    def disk(self) -> Disk:
        """What the recorder is given."""
        return Disk(
            create=self.create,
            write=self.write,
            sync=self.sync,
            sync_folder=self.sync_folder,
            rename=self.rename,
            exists=self.exists,
            is_deleted=self.is_deleted,
            close=self.close,
            remove=self.remove,
            utc_s=self.utc_s,
            monotonic_s=self.monotonic_s,
        )


@pytest.fixture
def fake_disk():
    """The class, so that a test can break it in its own way."""
    return FakeDisk
