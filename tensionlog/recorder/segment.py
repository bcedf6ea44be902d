"""One file of a sitting: named by bench and start, made durable, never overwritten."""

import json
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from tensionlog.recorder.disk import Disk


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
    path, fd = _create_named(disk, folder, header)
    try:
        disk.write_all(fd, head + lines)
        disk.sync(fd)
        disk.sync_folder(folder)
    except OSError:
        with suppress(OSError):
            disk.close(fd)
        with suppress(OSError):
            disk.remove(path)
        raise
    lead_bytes = len(head) + len(lines)
    return Segment(path=path, fd=fd, began_at=began_at, lead_bytes=lead_bytes)


def _create_named(disk: Disk, folder: Path, header: Mapping[str, Any]) -> tuple[Path, int]:
    bench = re.sub(r"[^\w-]+", "-", str(header.get("bench", ""))).strip("-") or "bench"
    started = re.sub(r"\.\d+|[-:]", "", str(header["started"]))
    for number in count(1):
        ending = "" if number == 1 else f"-{number}"
        path = folder / f"{bench}-{started}{ending}.rec"
        with suppress(FileExistsError):
            return path, disk.create(path)
    raise AssertionError("counting never ends")
