"""A finished recording to `.rec.gz`, never losing the original before the copy is good."""

import gzip
import shutil
from pathlib import Path

from tensionlog.errors import RecordingError
from tensionlog.recorder.disk import Disk

_BLOCK_BYTES = 1 << 18


def compress_finished(path: Path, *, disk: Disk | None = None) -> Path:
    """Replace the recording at `path` by a compressed one beside it.

    The copy is written under another name, made durable, read back and compared; only
    then does it get its name, and only then is the original removed.

    Returns:
        Where the compressed recording lies.

    Raises:
        RecordingError: It cannot be read or written, another file has the name, or the
            copy does not read back as the original. The original is still there.
    """
    disk = disk or Disk()
    target = path.with_name(path.name + ".gz")
    copy = path.with_name(path.name + ".gz.part")
    try:
        if not target.exists():
            _compress(path, copy, disk)
            _check_same(path, copy)
            copy.rename(target)
            disk.sync_folder(path.parent)
        else:
            _check_same(path, target)
        disk.remove(path)
    except (OSError, EOFError) as error:
        copy.unlink(missing_ok=True)
        if isinstance(error, RecordingError):
            raise
        raise RecordingError(
            f"cannot compress {path}: {error}. It is kept as it was."
        ) from error
    return target


def _compress(path: Path, copy: Path, disk: Disk) -> None:
    with path.open("rb") as original, copy.open("wb") as packed:
        with gzip.GzipFile("", "wb", fileobj=packed, mtime=0) as unpacked:
            shutil.copyfileobj(original, unpacked, _BLOCK_BYTES)
        packed.flush()
        disk.sync(packed.fileno())


def _check_same(path: Path, packed: Path) -> None:
    with path.open("rb") as original, gzip.open(packed, "rb") as unpacked:
        while block := original.read(_BLOCK_BYTES):
            if unpacked.read(len(block)) != block:
                raise RecordingError(f"{packed} does not hold what {path} does. Both are kept.")
        if unpacked.read(1):
            raise RecordingError(f"{packed} holds more than {path} does. Both are kept.")
