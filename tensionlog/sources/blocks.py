"""The bytes of a file in big blocks, whether it was compressed or not."""

import zlib
from collections.abc import Iterator
from pathlib import Path

from tensionlog.errors import RecordingError

BLOCK_BYTES = 1 << 17  # so that a block pays for the hundred calls that it costs
GZIP_MAGIC = b"\x1f\x8b"

MOST_TIMES, SMALL_BYTES = 100, 64 << 20
"""A recording packs to a fifth, since every line ends in a checksum. What grows a hundred
times, and beyond what harms nobody, is no recording but a bomb."""

_GZIP_WBITS = 31  # zlib's way to say: with gzip's own header and checksum


def read_blocks(path: Path, warnings: list[str]) -> Iterator[bytes]:
    """Yield the bytes of the file at `path`, unpacked if it is gzip, in order.

    A compressed file that is cut short or damaged is read as far as it goes; what went
    wrong is added to `warnings`.

    Raises:
        RecordingError: The file cannot be opened or read.
    """
    stored = _stored(path)
    first = next(stored, b"")
    if first.startswith(GZIP_MAGIC):
        yield from _unpacked(path, first, stored, warnings)
    elif first:
        yield first
        yield from stored


def _stored(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb", buffering=0) as file:
            while block := file.read(BLOCK_BYTES):
                yield block
    except FileNotFoundError as error:
        raise RecordingError(f"there is no file {path}. Check the name.") from error
    except IsADirectoryError as error:
        raise RecordingError(
            f"{path} is a folder. Name the recordings in it, such as {path / '*.rec'}."
        ) from error
    except OSError as error:
        raise RecordingError(f"cannot read {path}: {error.strerror or error}.") from error


def _unpacked(
    path: Path, packed: bytes, more: Iterator[bytes], warnings: list[str]
) -> Iterator[bytes]:
    unpacker = zlib.decompressobj(_GZIP_WBITS)
    taken, given = len(packed), 0
    while packed:
        if given > SMALL_BYTES and given > MOST_TIMES * taken:
            warnings.append(f"{path} unpacks to over {MOST_TIMES} times its size: cut there.")
            return
        if unpacker.eof:  # one more gzip member, or padding
            if not packed.startswith(GZIP_MAGIC):
                break
            unpacker = zlib.decompressobj(_GZIP_WBITS)
        before = unpacker.copy()
        try:
            block = unpacker.decompress(packed, BLOCK_BYTES)
        except zlib.error as error:
            yield _up_to_the_damage(before, packed)
            warnings.append(f"{path} is damaged inside ({error}): read as far as it goes.")
            return
        given += len(block)
        yield block
        packed = unpacker.unconsumed_tail or unpacker.unused_data
        if not packed:
            packed = next(more, b"")
            taken += len(packed)
    if not unpacker.eof:
        yield unpacker.flush()
        warnings.append(f"{path} ends before its gzip stream does: read as far as it goes.")


def _up_to_the_damage(unpacker: "zlib._Decompress", packed: bytes) -> bytes:
    """What can be had before the damage; one byte at a time, since an error takes all."""
    had = bytearray()
    try:
        for at in range(len(packed)):
            had += unpacker.decompress(packed[at : at + 1])
    except zlib.error:
        pass
    return bytes(had)
