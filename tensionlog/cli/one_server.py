"""One server on a bench: a second one is told where the first can be found."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from tensionlog.errors import UsageError


class Claim:
    """A bench that is ours as long as the file is locked; a kill lets go of it, too."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file

    def at(self, address: str) -> None:
        """Say where we can be found."""
        self._file.seek(0)
        self._file.truncate()
        json.dump({"address": address, "process": os.getpid()}, self._file)
        self._file.flush()


@contextmanager
def only_server(folder: Path, bench: str) -> Iterator[Claim]:
    """Claim the bench.

    Raises:
        UsageError: Another server has it; the text says where it is.
    """
    folder.mkdir(parents=True, exist_ok=True)
    safe = "".join(c if c.isalnum() or c in "-_" else "-" for c in bench)
    path = folder / f".served-{safe}.json"
    with path.open("a+", encoding="utf-8") as file:
        if not _locked(file):
            raise UsageError(
                f"the bench {bench!r} is served already, at {_address(path)}. Open that page, "
                "or end that server first."
            )
        yield Claim(file)
        with suppress(OSError):
            file.truncate(0)


def _address(path: Path) -> str:
    try:
        return str(json.loads(path.read_text(encoding="utf-8"))["address"])
    except (OSError, ValueError, KeyError):
        return "an address that it has not said yet"


def _locked(file: IO[str]) -> bool:
    if os.name == "posix":
        import fcntl

        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
    import msvcrt

    try:
        # A byte far behind the text: the other server may still read the address.
        file.seek(1 << 20)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return False
    return True
