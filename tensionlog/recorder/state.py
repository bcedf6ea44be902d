"""What the recorder says of itself."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class RecorderState:
    """How safe the sitting is.

    Attributes:
        path: The file being written, or the one that failed last.
        is_writing: Whether a file takes the bytes now; if not, memory does.
        unsafe_bytes: Bytes given that are not known to be durable.
        unsafe_s: Age of the oldest of them, 0 if there are none.
        lost_bytes: Bytes that memory could not hold until a disk took them.
        trouble: What went wrong last, or None if nothing did.
    """

    path: Path
    is_writing: bool
    unsafe_bytes: int
    unsafe_s: float
    lost_bytes: int
    trouble: str | None
