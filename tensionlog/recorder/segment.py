"""One file of a sitting: named by bench and start, made durable, never overwritten.

A file gets its name only with its header in it: whatever kills the program, no recording
is left that cannot be read.
"""

import json
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from tensionlog.recorder.disk import Disk
from tensionlog.recorder.weave import TEAR


@dataclass(slots=True)
class Segment:
    """An open file.

    Attributes:
        path: Where it lies.
        fd: Its descriptor.
        began_at: Offset in the stream of pieces at which it begins.
        lead_bytes: What stands in the file before that: the header, a repeated arrival.
        is_open: Whether it may still be written to.
    """

    path: Path
    fd: int
    began_at: int
    lead_bytes: int
    is_open: bool = True


def create_segment(
    disk: Disk, folder: Path, header: Mapping[str, Any], lines: bytes, *, began_at: int
) -> Segment:
    """Make a file that holds its header and `lines`, durable, or leave none behind.

    `lead_bytes` of the result counts all of it.

    Raises:
        OSError: The disk does not take it.
    """
    head = f"# tensionlog-recording 1\n# {json.dumps(header, allow_nan=False)}\n".encode()
    path, made, fd = _create_named(disk, folder, header)
    try:
        disk.write_all(fd, head + lines)
        disk.sync(fd)
        if made != path:
            disk.rename(made, path)
            made = path
        disk.sync_folder(folder)
    except OSError:
        with suppress(OSError):
            disk.close(fd)
        with suppress(OSError):
            disk.remove(made)
        raise
    lead_bytes = len(head) + len(lines)
    return Segment(path=path, fd=fd, began_at=began_at, lead_bytes=lead_bytes)


def reopen_segment(disk: Disk, path: Path) -> Segment:
    """Go on in a file whose writer was killed; a torn last line is closed, never cut off.

    Raises:
        OSError: The disk does not take it.
    """
    fd = disk.reopen(path)
    try:
        torn = path.read_bytes().rpartition(b"\n")[2]
        if torn:  # a host line may be whole but for its LF
            disk.write_all(fd, b"\n" if torn.startswith((b"@ ", b"! ", b"# ")) else TEAR)
        disk.sync(fd)
    except OSError:
        with suppress(OSError):
            disk.close(fd)
        raise
    return Segment(path=path, fd=fd, began_at=0, lead_bytes=path.stat().st_size)


def _create_named(
    disk: Disk, folder: Path, header: Mapping[str, Any]
) -> tuple[Path, Path, int]:
    """Name of the recording, the file made for it, and its descriptor."""
    bench = bench_in_names(str(header.get("bench", "")))
    started = re.sub(r"\.\d+|[-:]", "", str(header["started"]))
    for number in count(1):
        ending = "" if number == 1 else f"-{number}"
        path = folder / f"{bench}-{started}{ending}.rec"
        if disk.exists(path):
            continue
        with suppress(FileExistsError):  # another one is about to get that name
            made = unfinished(path)
            return path, made, disk.create(made)
    raise AssertionError("counting never ends")


def bench_in_names(bench: str) -> str:
    """The bench's name as names of files have it.

    >>> bench_in_names("north/../ 1")
    'north-1'
    """
    return re.sub(r"[^\w-]+", "-", bench).strip("-") or "bench"


def unfinished(path: Path) -> Path:
    """What a recording is called until its header is on the disk.

    Windows renames no file that is open; there it has its name at once.
    """
    return path if os.name == "nt" else path.with_name(f"{path.name}.part")
