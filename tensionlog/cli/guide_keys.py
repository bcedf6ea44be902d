"""Keys of a guided test: one each, and a number typed up to Enter.

Where stdin is no terminal whole lines take their place: a key, a word, or a number.
"""

from typing import Final

KEYS: Final = {"n": "next", " ": "next", "a": "again", "s": "skip", "q": "stop"}
KEYS_LINE: Final = "n next   a again   s leave out   q stop   a number, then Enter"


class GuideKeys:
    """Characters in, keys of `model.guide.KEYS` or numbers out; knows no terminal."""

    def __init__(self) -> None:
        self.typed = ""

    def push(self, character: str) -> str | None:
        """Take one character; return the key or the number that it completes."""
        if character in "\r\n":
            typed, self.typed = self.typed, ""
            return typed.replace(",", ".") or "next"
        if character.isdigit() or character in ".,":
            self.typed += character
            return None
        if character in "\x7f\b":
            self.typed = self.typed[:-1]
            return None
        self.typed = ""
        return KEYS.get(character.lower())

    def line(self, line: str) -> str | None:
        """Take one whole line.

        >>> GuideKeys().line("10,5"), GuideKeys().line("stop"), GuideKeys().line("q")
        ('10.5', 'stop', 'stop')
        """
        word = line.strip().lower()
        if word in KEYS.values():
            return word
        if word and word[0].isdigit():
            return word.replace(",", ".")
        return KEYS.get(word)
