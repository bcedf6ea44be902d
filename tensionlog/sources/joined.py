"""A sitting that a failing disk tore into several recordings, read as the one that it was.

After a write error the recorder goes on in a new file whose header says which one it
continues, and from which of its bytes on (`continues_at`): what stands there beyond was
not known to be safe and stands in the new file again.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from pathlib import Path

from tensionlog.model.recording import Header
from tensionlog.sources.recording import RecordingReader


class JoinedReader(RecordingReader):
    """Several recordings read as one; all but where its bytes come from is inherited.

    Args:
        parts: Each continues the one before it.
    """

    def __init__(self, parts: Sequence[RecordingReader]) -> None:
        super().__init__(parts[0].path, parts[0].header, body_at=0)
        self._parts = tuple(parts)

    @property
    def paths(self) -> list[Path]:
        """Where the parts lie, the first one first."""
        return [part.path for part in self._parts]

    def digest(self) -> str:
        """SHA-256 of the parts' own in hex."""
        return sha256("".join(part.digest() for part in self._parts).encode()).hexdigest()

    def _body(self) -> Iterator[bytes]:
        for part, later in zip(self._parts, [*self._parts[1:], None], strict=True):
            body = part.body(upto=None if later is None else _taken_over_at(later.header))
            yield from body if later is None else _whole_lines(body)
            self.warnings += part.warnings


def in_sittings(readers: Iterable[RecordingReader]) -> list[RecordingReader]:
    """The same recordings, those that continue one another joined.

    What continues a recording that is not among them stands by itself.
    """
    readers = list(readers)
    number_of: dict[tuple[str, str], int] = {}
    for number, reader in enumerate(readers):
        number_of.setdefault((reader.header.bench, _plain(reader.path.name)), number)
    after: dict[int, int] = {}
    for number, reader in enumerate(readers):
        before = number_of.get((reader.header.bench, _plain(reader.header.continues or "")))
        if before is not None and before != number:
            after.setdefault(before, number)
    first = [number for number in range(len(readers)) if number not in after.values()]
    chains = [list(_chain(number, after)) for number in first]
    in_chains = {number for chain in chains for number in chain}
    chains += [[n] for n in range(len(readers)) if n not in in_chains]  # they go in a ring
    return [
        readers[chain[0]] if len(chain) == 1 else JoinedReader([readers[n] for n in chain])
        for chain in chains
    ]


def _chain(number: int | None, after: Mapping[int, int]) -> Iterator[int]:
    while number is not None:
        yield number
        number = after.get(number)


def _plain(name: str) -> str:
    return name.removesuffix(".gz")


def _taken_over_at(header: Header) -> int | None:
    at = header.raw.get("continues_at")
    return at if isinstance(at, int) and not isinstance(at, bool) and at >= 0 else None


def _whole_lines(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """All but a torn line at the end: the file that goes on begins with the whole of it."""
    carry = b""
    for block in blocks:
        block = carry + block
        end = block.rfind(b"\n") + 1
        carry = block[end:]
        yield block[:end]
