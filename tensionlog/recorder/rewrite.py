"""Rewrite a recording's notes, and nothing else of it; whole, verified, or not at all.

A recording is never rewritten but for this: somebody asked for their data to be erased.
Every byte of the device and every arrival stays; the file itself says that it was done.
"""

import gzip
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from tensionlog.errors import RecordingError
from tensionlog.recorder.bundle import put_file

Body = Mapping[str, Any]
_BLOCK_BYTES = 1 << 18


def rewrite_notes(path: Path, change: Callable[[Body], Body], *, says: Body) -> int:
    """Pass every note of the recording at `path` through `change`.

    Args:
        path: A `.rec` or `.rec.gz` that nobody writes to.
        change: Note to note; the same one where nothing is to be changed.
        says: A note to be added at the end, if anything was changed.

    Returns:
        How many notes were changed; 0 leaves the file as it was.

    Raises:
        RecordingError: It cannot be read or written; it is still what it was.
    """
    try:
        lines = list(_lines(path))
    except (OSError, EOFError) as error:
        raise RecordingError(f"cannot read {path}: {error}. It is left as it was.") from error
    changed = [_changed(line, change) for line in lines]
    number = sum(new != old for new, old in zip(changed, lines, strict=True))
    if not number:
        return 0
    if not changed[-1].endswith(b"\n"):
        changed.append(b"~\n")  # a torn last line stays one
    changed.append(b"! %s\n" % json.dumps({**says, "notes": number}).encode())
    data = b"".join(changed)
    packed = gzip.compress(data, mtime=0) if path.name.endswith(".gz") else data
    put_file(path, _blocks(packed))
    return number


def _lines(path: Path) -> Iterator[bytes]:
    is_packed = path.name.endswith(".gz")
    with gzip.open(path, "rb") if is_packed else path.open("rb") as file:
        yield from file


def _changed(line: bytes, change: Callable[[Body], Body]) -> bytes:
    if not line.startswith(b"! "):
        return line
    try:
        body = json.loads(line[2:])
    except (ValueError, RecursionError):
        return line
    new = change(body) if isinstance(body, dict) else body
    return line if new == body else b"! %s\n" % json.dumps(new).encode()


def _blocks(data: bytes) -> Iterator[bytes]:
    return (data[at : at + _BLOCK_BYTES] for at in range(0, len(data), _BLOCK_BYTES))
