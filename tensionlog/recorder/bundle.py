"""Write a bundle: whole or not at all, consistent while recordings grow.

A recording is only ever appended to, so what it is made of at one moment is its bytes up
to the last whole line of that moment; the database is copied by its own means before.
"""

import json
import os
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from tensionlog.errors import RecordingError
from tensionlog.recorder.disk import Disk

_BLOCK_BYTES = 1 << 18
_LEVEL = 6


class Packed(NamedTuple):
    """What is to be packed: a file, and its name in the bundle."""

    name: str
    path: Path


def write_bundle(
    target: Path, files: Sequence[Packed], about: Mapping[str, Any], *, disk: Disk | None = None
) -> None:
    """Pack `files` and a manifest into a new bundle at `target`.

    It is written beside it, made durable and only then given its name.

    Raises:
        RecordingError: A file cannot be read, or the bundle cannot be written.
    """
    disk = disk or Disk()
    partial = target.with_name(f"{target.name}.part")
    try:
        with partial.open("wb") as out:
            with zipfile.ZipFile(
                out, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL
            ) as packed:
                listed = [_pack(packed, file) for file in files]
                packed.writestr("manifest.json", json.dumps({**about, "files": listed}))
            out.flush()
            disk.sync(out.fileno())
        os.replace(partial, target)  # noqa: PTH105 - as the disk's other calls are
        disk.sync_folder(target.parent)
    except OSError as error:
        raise RecordingError(
            f"cannot write {target}: {error.strerror or error}. Choose another place."
        ) from error
    finally:
        partial.unlink(missing_ok=True)


def _pack(packed: zipfile.ZipFile, file: Packed) -> dict[str, Any]:
    digest, size = sha256(), 0
    info = zipfile.ZipInfo(file.name)
    info.compress_type = (
        zipfile.ZIP_STORED if file.name.endswith(".gz") else zipfile.ZIP_DEFLATED
    )
    with packed.open(info, "w", force_zip64=True) as out:
        for block in _as_it_stands(file.path):
            digest.update(block)
            size += len(block)
            out.write(block)
    return {"name": file.name, "bytes": size, "sha256": digest.hexdigest()}


def _as_it_stands(path: Path) -> Iterator[bytes]:
    """The file's bytes as of now, however it grows meanwhile."""
    with path.open("rb") as file:
        left = _end_of_lines(path) if path.name.endswith(".rec") else path.stat().st_size
        while left and (block := file.read(min(left, _BLOCK_BYTES))):
            left -= len(block)
            yield block


def _end_of_lines(path: Path) -> int:
    """Length of a recording up to its last whole line; all of it where that is far back."""
    size = path.stat().st_size
    with path.open("rb") as file:
        begin = max(0, size - _BLOCK_BYTES)
        file.seek(begin)
        return begin + file.read(size - begin).rfind(b"\n") + 1 or size


def put_file(path: Path, blocks: Iterator[bytes], *, disk: Disk | None = None) -> None:
    """Make a file of `blocks` at `path`, whole or not at all; one that is there is replaced.

    Raises:
        RecordingError: It cannot be written, or the blocks end in an error.
    """
    disk = disk or Disk()
    partial = path.with_name(f"{path.name}.part")
    try:
        with partial.open("wb") as out:
            for block in blocks:
                out.write(block)
            out.flush()
            disk.sync(out.fileno())
        os.replace(partial, path)  # noqa: PTH105 - as above
        disk.sync_folder(path.parent)
    except RecordingError:
        raise
    except OSError as error:
        raise RecordingError(
            f"cannot write {path}: {error.strerror or error}. Choose another place."
        ) from error
    finally:
        partial.unlink(missing_ok=True)
