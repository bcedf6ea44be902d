"""One recorder a bench and folder: two would take each other's bytes and names."""

import os
import sys
from contextlib import suppress
from pathlib import Path

from tensionlog.errors import RecordingError
from tensionlog.recorder.segment import bench_in_names

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


class FolderLock:
    """Held until `release`, or until the process ends in whatever way."""

    def __init__(self, folder: Path, bench: str) -> None:
        """Take it.

        A disk that knows no locks (some network disks, a read-only one) is no reason not
        to record.

        Raises:
            RecordingError: Another process records there for the same bench.
        """
        self._descriptor: int | None = None
        path = folder / f".{bench_in_names(bench)}.lock"
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError:
            return
        try:
            _lock(descriptor)
        except (BlockingIOError, PermissionError) as error:
            os.close(descriptor)
            raise RecordingError(
                f"another tensionlog records for bench {bench!r} into {folder}. "
                "Stop it, or name another folder with --folder."
            ) from error
        except OSError:
            os.close(descriptor)
        else:
            self._descriptor = descriptor

    def release(self) -> None:
        """Give it back; the file stays, since removing it would let two hold it."""
        if self._descriptor is not None:
            with suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = None


def _lock(descriptor: int) -> None:
    if sys.platform == "win32":
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_held(folder: Path) -> bool:
    """Whether somebody records into the folder now, as far as can be told."""
    for path in folder.glob(".*.lock"):
        try:
            descriptor = os.open(path, os.O_RDWR)
        except OSError:
            continue
        try:
            _lock(descriptor)
        except OSError:
            return True
        finally:
            os.close(descriptor)
    return False
