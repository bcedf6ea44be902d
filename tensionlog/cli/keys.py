"""Keys that the operator presses while recording: one each, both hands being busy.

Where stdin is no terminal (a foot switch's script, a test) whole lines take their place:
a key alone, or a note as `load mass_kg=10`.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any, Protocol, TypeVar

KEYS = {
    "r": ("redo", "the last pull is void and is made again"),
    "u": ("undo", "the last pull is void"),
    "l": ("lift-off", "the next pull reads what the last string holds"),
    "p": ("place", "the next pull is at a position that you type"),
    "b": ("broke", "a string broke at a position that you type"),
    "n": ("remark", "a note that you type"),
    ":": ("", "any other note, such as: load mass_kg=10"),
    "e": ("job-end", "the job is done"),
    "q": ("quit", "stop recording"),
}
"""Key to note and what it means; those that need words take them up to Enter."""

TYPED = {"place": "position", "broke": "position", "remark": "text", "": "note"}
"""Notes that need words, and the name under which these stand."""

KEYS_LINE = "  ".join(f"{key} {name or 'note…'}" for key, (name, _) in KEYS.items())

Note = dict[str, Any]
T = TypeVar("T", covariant=True)


class Reader(Protocol[T]):
    """Makes something of single characters, or of whole lines."""

    def push(self, character: str) -> T | None:
        """Take one character; return what it completes."""

    def line(self, line: str) -> T | None:
        """Take one whole line."""


class KeyReader:
    """Characters in, notes out; knows no terminal."""

    def __init__(self) -> None:
        self.typing: str | None = None
        self.typed = ""

    def push(self, character: str) -> Note | None:
        """Take one character; return the note that it completes."""
        if self.typing is None:
            return self._key(character)
        if character in "\r\n":
            name, words = self.typing, self.typed
            self.typing, self.typed = None, ""
            return _typed_note(name, words)
        if character == "\x1b":
            self.typing, self.typed = None, ""
        elif character in "\x7f\b":
            self.typed = self.typed[:-1]
        elif character.isprintable():
            self.typed += character
        return None

    def line(self, line: str) -> Note | None:
        """Take one whole line, see `line_note`."""
        return line_note(line)

    def _key(self, character: str) -> Note | None:
        name = KEYS.get(character.lower(), (None,))[0]
        if name is None:
            return None
        if name in TYPED:
            self.typing = name
            return None
        return {"note": name}


def line_note(line: str) -> Note | None:
    """A whole line as a note: a key, a key with its words, or a note with its values.

    >>> line_note("r"), line_note("p X7"), line_note("load mass_kg=10")
    ({'note': 'redo'}, {'note': 'place', 'position': 'X7'}, {'note': 'load', 'mass_kg': 10})
    """
    words = line.strip()
    if not words:
        return None
    key, _, rest = words.partition(" ")
    if key in KEYS:
        name = KEYS[key][0]
        return _typed_note(name, rest) if name in TYPED else {"note": name}
    return _typed_note("", words)


def _typed_note(name: str, words: str) -> Note | None:
    if not words.strip():
        return None
    if name:
        return {"note": name, TYPED[name]: words.strip()}
    name, *pairs = words.split()
    return {"note": name, **dict(_values(pairs))}


def _values(pairs: list[str]) -> Iterator[tuple[str, Any]]:
    for pair in pairs:
        key, equals, text = pair.partition("=")
        if equals and key not in ("note", "at"):
            value: Any = text
            with suppress(ValueError):
                value = json.loads(text)
            yield key, value


@contextmanager
def keyboard() -> Iterator[Callable[[], list[Note]]]:
    """Yield a function that returns the notes asked for since the last call.

    It never waits. A terminal gives single keys, anything else whole lines.
    """
    with pressed_by(KeyReader()) as read:
        yield read


@contextmanager
def pressed_by(reader: Reader[T]) -> Iterator[Callable[[], list[T]]]:
    """Yield a function that returns what `reader` made of the keys since the last call."""
    if not sys.stdin or sys.stdin.closed:
        yield list
    elif sys.platform == "win32":
        yield _windows_keys(reader) if sys.stdin.isatty() else list
    elif sys.stdin.isatty():
        with _single_keys(reader) as read:
            yield read
    else:
        yield _lines(reader)


if sys.platform == "win32":

    def _windows_keys(keys: Reader[T]) -> Callable[[], list[T]]:
        import msvcrt

        def read() -> list[T]:
            made = []
            while msvcrt.kbhit():
                made.append(keys.push(msvcrt.getwch()))
            return [one for one in made if one is not None]

        return read

else:
    import os
    import select

    @contextmanager
    def _single_keys(keys: Reader[T]) -> Iterator[Callable[[], list[T]]]:
        import termios
        import tty

        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)

        def read() -> list[T]:
            pressed = _what_is_there(descriptor).decode("utf-8", "replace")
            made = [keys.push(character) for character in pressed]
            return [one for one in made if one is not None]

        tty.setcbreak(descriptor)
        try:
            yield read
        finally:
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)

    def _lines(keys: Reader[T]) -> Callable[[], list[T]]:
        try:
            descriptor = sys.stdin.fileno()
        except (OSError, ValueError):
            return list
        held = b""

        def read() -> list[T]:
            nonlocal held
            *whole, held = (held + _what_is_there(descriptor)).split(b"\n")
            made = [keys.line(line.decode("utf-8", "replace")) for line in whole]
            return [one for one in made if one is not None]

        return read

    def _what_is_there(descriptor: int) -> bytes:
        with suppress(OSError, ValueError):
            if select.select([descriptor], [], [], 0)[0]:
                return os.read(descriptor, 4096)
        return b""
