"""A bundle: recordings, and what belongs to them, in one file that may come from anywhere.

It is a zip whose `manifest.json` names every member with its length and digest. Nothing of
it is trusted: names must be the ones a bundle may hold, lengths must be the stated ones
and are kept to while unpacking, and every digest is checked before a member counts.
"""

import json
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from tensionlog.errors import RecordingError

MANIFEST = "manifest.json"
FORMAT = "tensionlog-bundle"
VERSION = 1

RECORDINGS, DATABASE, SETTINGS = "recordings/", "database.db", "bench.toml"
_ALLOWED = re.compile(r"recordings/[^/\\:\x00-\x1f]+\.rec(?:\.gz)?|database\.db|bench\.toml")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_LONGEST_MANIFEST = 64 << 20
_BLOCK_BYTES = 1 << 16

_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One file in a bundle.

    Attributes:
        name: As the manifest has it, such as `recordings/north-….rec`.
        size: Bytes, unpacked.
        sha256: Digest of those bytes in hex.
    """

    name: str
    size: int
    sha256: str


class BundleReader:
    """An open bundle. Use it in a `with` statement.

    Attributes:
        path: Where it lies.
        about: What the manifest says beside the members.
        members: All files but the manifest itself.
    """

    def __init__(self, path: Path) -> None:
        """Open the bundle and read its manifest.

        Raises:
            RecordingError: It is none, or says something that none may say.
        """
        self.path = path
        try:
            self._zip = zipfile.ZipFile(path)
            try:
                self.about, self.members = self._manifest()
            except BaseException:
                self._zip.close()
                raise
        except _DAMAGED as error:
            raise self._wrong(f"is no bundle of ours, or is damaged ({error})") from error
        except RecordingError:
            raise
        except OSError as error:
            raise self._wrong(f"cannot be read: {error.strerror or error}") from error

    def __enter__(self) -> "BundleReader":
        return self

    def __exit__(self, *_: object) -> None:
        self._zip.close()

    def blocks(self, member: Member) -> Iterator[bytes]:
        """Yield a member's bytes; the last block comes only once the digest holds.

        Raises:
            RecordingError: It is shorter, longer or other than the manifest says.
        """
        found, size, held = sha256(), 0, b""
        try:
            with self._zip.open(member.name) as file:
                while block := file.read(_BLOCK_BYTES):
                    size += len(block)
                    if size > member.size:
                        raise self._wrong(f"holds more of {member.name} than it says")
                    found.update(block)
                    if held:
                        yield held
                    held = block
        except KeyError as error:
            raise self._wrong(f"lacks {member.name}") from error
        except _DAMAGED as error:
            raise self._wrong(f"is damaged in {member.name} ({error})") from error
        if size != member.size or found.hexdigest() != member.sha256:
            raise self._wrong(f"does not hold {member.name} as it was packed")
        yield held

    def check(self) -> None:
        """Read all of it.

        Raises:
            RecordingError: A member is not what the manifest says.
        """
        for member in self.members:
            for _ in self.blocks(member):
                pass

    def _manifest(self) -> tuple[Mapping[str, Any], list[Member]]:
        names = self._zip.namelist()
        if MANIFEST not in names or self._zip.getinfo(MANIFEST).file_size > _LONGEST_MANIFEST:
            raise self._wrong("has no manifest")
        with self._zip.open(MANIFEST) as file:
            text = file.read(_LONGEST_MANIFEST)
        try:
            said = json.loads(text)
        except (ValueError, RecursionError) as error:
            raise self._wrong(f"has a manifest that is not JSON ({error})") from error
        if not isinstance(said, dict) or said.get("format") != FORMAT:
            raise self._wrong("is not a bundle of ours")
        if said.get("version") != VERSION:
            raise self._wrong(f"is of version {said.get('version')!r}: upgrade tensionlog")
        files = said.get("files")
        members = [self._member(entry) for entry in files] if isinstance(files, list) else None
        if members is None or len({m.name for m in members}) != len(members):
            raise self._wrong("has a manifest that names no files, or one of them twice")
        if extra := set(names) - {MANIFEST} - {member.name for member in members}:
            raise self._wrong(f"holds {min(extra)!r}, which its manifest does not name")
        return said, members

    def _member(self, entry: object) -> Member:
        fields = entry if isinstance(entry, dict) else {}
        name, size, digest = (fields.get(key) for key in ("name", "bytes", "sha256"))
        if not isinstance(name, str) or not _ALLOWED.fullmatch(name) or "/." in name:
            raise self._wrong(f"names a file {name!r}, which no bundle holds")
        if not isinstance(size, int) or isinstance(size, bool) or size < 0:
            raise self._wrong(f"says {size!r} for the length of {name}")
        if not isinstance(digest, str) or not _SHA256.fullmatch(digest):
            raise self._wrong(f"says {digest!r} for the digest of {name}")
        return Member(name=name, size=size, sha256=digest)

    def _wrong(self, what: str) -> RecordingError:
        return RecordingError(f"{self.path} {what}. Nothing was taken from it.")


def begins_with(path: Path, member: Member) -> bool:
    """Whether the file at `path` is what the bundle has, or has grown since it was packed."""
    if path.stat().st_size < member.size:
        return False
    found, left = sha256(), member.size
    with path.open("rb") as file:
        while left and (block := file.read(min(left, _BLOCK_BYTES))):
            found.update(block)
            left -= len(block)
    return found.hexdigest() == member.sha256
