"""Who answers at a port, and in which version of the wire."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from tensionlog.device.heard import Heard
from tensionlog.model.lines import Hello

PROTO: Final = 1
"""The version of the wire that this package speaks."""

SOUND_SHARE = 0.5
"""Below this share of sound lines the sound ones are luck, or another device's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Who answers.

    Attributes:
        state: `sound`, `earlier` or `later` (another version of the wire), `unnamed`
            (samples, but no identity), `several` (more than one name on one line),
            `other` (readable lines of its own), `rubbish` or `silent`.
        hello: The latest identity, or None.
        names: Names of all devices that spoke, in order.
    """

    state: str
    hello: Hello | None
    names: tuple[str, ...]

    @property
    def is_usable(self) -> bool:
        """Whether samples of the wire that this package speaks come from one device."""
        return self.state in ("sound", "unnamed")


def identity_of(heard: Heard) -> Identity:
    """Tell who answers from what was heard."""
    names = tuple(dict.fromkeys(hello.device for hello in heard.hellos))
    return Identity(state=_state(heard, names), hello=heard.hello, names=names)


def _state(heard: Heard, names: tuple[str, ...]) -> str:
    hello = heard.hello
    if len(names) > 1:
        return "several"
    if hello is not None and hello.proto != PROTO:
        return "later" if hello.proto > PROTO else "earlier"
    if heard.samples and heard.samples >= SOUND_SHARE * heard.bad_lines:
        return "unnamed" if hello is None else "sound"
    if hello is not None:
        return "sound"
    if not heard.bytes_read:
        return "silent"
    return "other" if heard.plain_lines else "rubbish"


def shared_names(found: Mapping[str, Identity]) -> dict[str, list[str]]:
    """Names that more than one port answers to, with these ports.

    Args:
        found: Port to who answers there.
    """
    named = {port: who.hello.device for port, who in found.items() if who.hello}
    often = Counter(named.values())
    return {
        name: [port for port, other in named.items() if other == name]
        for name, times in often.items()
        if times > 1
    }
