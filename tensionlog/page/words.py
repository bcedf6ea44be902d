"""Every text that the page shows, one file a language, with English behind each."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from tensionlog.errors import UsageError

FALLBACK = "en"


class Words:
    """The texts of one language.

    Args:
        texts: Key to text; places for values stand in braces.
    """

    def __init__(self, texts: Mapping[str, str]) -> None:
        self._texts = texts

    def __call__(self, key: str, **values: Any) -> str:
        """The text of `key` with its values; a key without a text says itself."""
        text = self._texts.get(key)
        if text is None:
            return key
        return text.format_map(_Known(values))

    def __contains__(self, key: str) -> bool:
        return key in self._texts

    def all(self) -> dict[str, str]:
        """Every text, for the page's own script."""
        return dict(self._texts)


class _Known(dict[str, Any]):
    """A value that nobody gave leaves its name in the text, not an error at the bench."""

    def __missing__(self, key: str) -> str:
        return f"{{{key}}}"


@cache
def languages() -> tuple[str, ...]:
    """Languages that there are texts in."""
    names = [f.name for f in files("tensionlog.page").joinpath("words").iterdir()]
    return tuple(sorted(n.removesuffix(".json") for n in names if n.endswith(".json")))


@cache
def words_of(language: str = FALLBACK) -> Words:
    """The texts of `language`; what it lacks stands in English.

    Raises:
        UsageError: There is no such language.
    """
    if language not in languages():
        raise UsageError(
            f"there are no texts in {language!r}. There are: {', '.join(languages())}."
        )
    texts = _read(FALLBACK)
    return Words(texts if language == FALLBACK else texts | _read(language))


def _read(language: str) -> dict[str, str]:
    file = files("tensionlog.page").joinpath("words", f"{language}.json")
    texts: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return texts
