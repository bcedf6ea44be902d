"""Find a job by a name that somebody half remembers how to spell."""

import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from tensionlog.pipeline.archive import Listed

Item = TypeVar("Item")

ENOUGH = 0.34
"""Share of the query's letter triples that a text must hold to be like it: one wrong or
missing letter in a name of five keeps this much, another name of the shop does not."""


def plain(text: str) -> str:
    """Lower case without accents, letters and digits only.

    >>> plain("Ilka Vardhölm-Ørsted"), plain("Straße 7")
    ('ilka vardholm orsted', 'strasse 7')
    """
    taken_apart = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    # These letters have no accent to take off, and people type them without.
    folded = taken_apart.translate({ord("ø"): "o", ord("ł"): "l", ord("đ"): "d"})
    bare = (c for c in folded if not unicodedata.combining(c))
    return " ".join("".join(c if c.isalnum() else " " for c in bare).split())


def likeness(query: str, text: str) -> float:
    """How well `text` answers `query`, 0 to 1; 1 where every word of it stands there.

    >>> likeness("vardholm", "Ilka Vardholm"), likeness("zzz", "Ilka Vardholm")
    (1.0, 0.0)
    """
    words, there = plain(query).split(), plain(text).split()
    if not words:
        return 1.0
    return sum(max((_word(w, t) for t in there), default=0.0) for w in words) / len(words)


def found(query: str, items: Iterable[Item], text_of: Callable[[Item], str]) -> list[Item]:
    """Items that answer `query`, the best first, else in the order given."""
    scored = [(likeness(query, text_of(item)), item) for item in items]
    good = [(score, item) for score, item in scored if score >= ENOUGH]
    return [item for _, item in sorted(good, key=lambda pair: -round(pair[0], 2))]


def _word(wanted: str, there: str) -> float:
    if wanted in there:
        return 1.0
    triples, others = _triples(wanted), _triples(there)
    return len(triples & others) / len(triples)


def _triples(word: str) -> set[str]:
    padded = f" {word} "
    return {padded[i : i + 3] for i in range(len(padded) - 2)} or {padded}


def searched(job: Listed) -> str:
    """What a search looks at in a job."""
    keys = ("owner", "frame", "string", "ref", "sport")
    return " ".join(str(job.ticket.get(key, "")) for key in keys)


def is_same(ticket: Mapping[str, Any], *, owner: str, frame: str) -> bool:
    """The same player and, where one is named, the same frame."""
    is_owner = plain(str(ticket.get("owner", ""))) == plain(owner) or not owner
    is_frame = plain(str(ticket.get("frame", ""))) == plain(frame) or not frame
    return is_owner and is_frame
