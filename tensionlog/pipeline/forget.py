"""Erase what is personal of one player, where it is kept, and say where it still stands.

The recordings are the source of truth, so they are what is changed: the owner, the
reference, the frame and whatever else of a ticket names them, in that player's tickets
and in any note that holds the name. What was measured stays, since clamps, strings and
heads are judged by it, and no longer points to anybody. The database is then made from
the changed recordings by the path that every sitting takes.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionlog.errors import TensionlogError
from tensionlog.model.recording import Note
from tensionlog.pipeline.replay import replay_all, sittings_of
from tensionlog.recorder.rewrite import rewrite_notes

if TYPE_CHECKING:
    from tensionlog.store import Store

ERASED = "erased"
PERSONAL = ("owner", "ref", "frame", "remark", "remarks", "contact", "phone", "mail", "email")
"""Of a ticket, what names a player or may lead to one."""

_COPIES = ("*.before-*", "*.damaged-*", "*.zip", "*.csv", "*.parquet", "*.html", "*.json")


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What came of it.

    Attributes:
        recordings: Recordings that were changed.
        notes: Notes changed in them.
        stored: Sittings stored anew.
        still_in: Files that still hold the name, or may.
        errors: What could not be changed.
    """

    recordings: tuple[Path, ...]
    notes: int
    stored: int
    still_in: tuple[Path, ...]
    errors: tuple[TensionlogError, ...]


def recordings_with(owner: str, paths: Sequence[Path]) -> list[Path]:
    """Recordings among `paths` in which a note holds the name, torn ones with all parts."""
    readers, _ = sittings_of(paths)
    named = [r for r in readers if any(_holds(i.body, owner) for i in r if isinstance(i, Note))]
    return [path for reader in named for path in reader.paths]


def forget(
    owner: str, paths: Sequence[Path], *, store: "Store | None", at: str, places: Sequence[Path]
) -> Forgotten:
    """Erase an owner's personal data.

    Args:
        owner: The name as it stands in the tickets, whatever its case.
        paths: Recordings to look through.
        store: The database, or None where there is none.
        at: Now, as ISO time.
        places: Folders in which copies may lie.
    """
    concerned = recordings_with(owner, paths)
    changed: list[Path] = []
    errors: list[TensionlogError] = []
    notes = 0
    says = {"at": at, "note": ERASED, "what": "a player's personal data, on request"}
    for path in concerned:
        try:
            number = rewrite_notes(path, lambda body: without(owner, body), says=says)
        except TensionlogError as error:
            errors.append(error)
            continue
        notes += number
        changed += [path] if number else []
    stored = 0
    if store is not None and changed:
        told = list(replay_all(concerned, store=store))
        errors += [item for item in told if isinstance(item, TensionlogError)]
        stored = len(told) - sum(isinstance(item, TensionlogError) for item in told)
        store.compact()
    return Forgotten(
        recordings=tuple(changed),
        notes=notes,
        stored=stored,
        still_in=(*recordings_with(owner, paths), *copies_in(places)),
        errors=tuple(errors),
    )


def copies_in(places: Sequence[Path]) -> list[Path]:
    """Files beside recordings and database that were made of them and may hold a name."""
    found = {path for place in places for end in _COPIES for path in place.glob(end)}
    return sorted(path for path in found if path.is_file())


def without(owner: str, body: Mapping[str, Any]) -> Mapping[str, Any]:
    """The note without what is personal in it; the same where the name is not in it.

    >>> without("A. Example", {"note": "remark", "text": "for a. example, by Monday"})
    {'note': 'remark', 'text': 'for [erased], by Monday'}
    """
    if not _holds(body, owner):
        return body
    job = body.get("job")
    if isinstance(job, dict) and _holds(job, owner):
        kept = {key: value for key, value in job.items() if key not in PERSONAL}
        body = {**body, "job": {**kept, "ref": ERASED} if "ref" in job else kept}
    cleaned = _cleaned(body, _pattern(owner))
    assert isinstance(cleaned, dict)
    return cleaned


def _pattern(owner: str) -> re.Pattern[str]:
    words = r"\s+".join(map(re.escape, owner.split()))
    return re.compile(rf"(?<!\w){words}(?!\w)", re.IGNORECASE)


def _cleaned(found: Any, name: re.Pattern[str]) -> Any:
    if isinstance(found, str):
        return name.sub(f"[{ERASED}]", found)
    if isinstance(found, dict):
        return {key: _cleaned(value, name) for key, value in found.items()}
    if isinstance(found, list):
        return [_cleaned(value, name) for value in found]
    return found


def _holds(found: Any, owner: str) -> bool:
    name = _pattern(owner)
    return any(name.search(text) for text in _texts(found))


def _texts(found: Any) -> Iterator[str]:
    if isinstance(found, str):
        yield found
    elif isinstance(found, Mapping):
        for value in found.values():
            yield from _texts(value)
    elif isinstance(found, list):
        for value in found:
            yield from _texts(value)
