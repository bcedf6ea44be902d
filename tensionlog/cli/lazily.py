"""Commands that are loaded when they are asked for: one of them needs none of the others."""

from collections.abc import Iterator, Mapping, MutableMapping
from importlib import import_module

import click


class Lazily(MutableMapping[str, click.Command]):
    """Commands by name, each loaded from its file at its first use.

    Args:
        places: Name of a command to its module; where the command has another name there,
            `module:name`.
    """

    def __init__(self, places: Mapping[str, str]) -> None:
        self._places = dict(places)
        self._loaded: dict[str, click.Command] = {}

    def __getitem__(self, name: str) -> click.Command:
        if name not in self._loaded:
            module, _, own = self._places[name].partition(":")
            place = import_module(f"tensionlog.cli.{module}")
            self._loaded[name] = getattr(place, own or module)
        return self._loaded[name]

    def __setitem__(self, name: str, command: click.Command) -> None:
        self._places[name] = name
        self._loaded[name] = command

    def __delitem__(self, name: str) -> None:
        del self._places[name]
        self._loaded.pop(name, None)

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._places)

    def __contains__(self, name: object) -> bool:
        return name in self._places
