"""Everything the recorder asks of the machine, in one place that a test can replace."""

import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LITTLE_SPACE_BYTES = 200_000_000

_SYNC: Callable[[int], None] = getattr(os, "fdatasync", os.fsync)


def _create(path: Path) -> int:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
    return os.open(path, flags, 0o644)


def _reopen(path: Path) -> int:
    return os.open(path, os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0))


def _sync_folder(folder: Path) -> None:
    """Make a new name durable; only POSIX can and must."""
    if os.name != "posix":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def _is_deleted(fd: int) -> bool:
    """Whether no name leads to an open file any more: what is written to it goes with it."""
    return os.name == "posix" and os.fstat(fd).st_nlink == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Disk:
    """The calls as the system offers them.

    Attributes:
        create: Make a file that must not exist yet, for appending; return its descriptor.
        reopen: Open a file that exists, for appending; return its descriptor.
        write: Append; may take fewer bytes than it was given, and says how many.
        sync: Make what was written to a descriptor durable.
        sync_folder: Make the names in a folder durable.
        rename: Give a file its name.
        exists: Whether there is a file of that name.
        is_deleted: Whether an open file has been deleted under us.
        close: Give a descriptor back.
        remove: Delete a file.
        utc_s: Seconds since 1970, UTC.
        monotonic_s: Seconds that never jump.
    """

    create: Callable[[Path], int] = _create
    reopen: Callable[[Path], int] = _reopen
    write: Callable[[int, bytes], int] = os.write
    sync: Callable[[int], None] = _SYNC
    sync_folder: Callable[[Path], None] = _sync_folder
    rename: Callable[[Path, Path], None] = os.rename
    exists: Callable[[Path], bool] = os.path.exists
    is_deleted: Callable[[int], bool] = _is_deleted
    close: Callable[[int], None] = os.close
    remove: Callable[[Path], None] = os.remove
    utc_s: Callable[[], float] = time.time
    monotonic_s: Callable[[], float] = time.monotonic

    def take(self, fd: int, data: bytes) -> int:
        """Append at least one byte of `data`; return how many.

        Raises:
            OSError: The disk is full, gone or broken.
        """
        taken = self.write(fd, data)
        if taken <= 0:
            raise OSError(f"the disk took {taken} of {len(data)} bytes")
        return taken

    def write_all(self, fd: int, data: bytes) -> None:
        """Append all of `data`, however many calls that takes.

        Raises:
            OSError: The disk is full, gone or broken.
        """
        while data:
            data = data[self.take(fd, data) :]


def space_warning(folder: Path) -> str | None:
    """One line if there is little room left for recordings in `folder`, else None."""
    free = shutil.disk_usage(folder).free
    if free >= LITTLE_SPACE_BYTES:
        return None
    return f"only {free // 1_000_000} MB are free in {folder}. Make room before the next job."
