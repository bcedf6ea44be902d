"""Who is at the other end: told by the device itself, never by the name of a port.

After a cable was put back the same device may have another name, and another device the
same. So what comes from a port just opened is held until the device has said who it is,
and thrown away with the port if it is another one.
"""

from typing import NamedTuple

from tensionlog.model.lines import Hello
from tensionlog.wire import decode_line

TOLD_WITHIN_S = 5.0
"""A board whose boot loader swallows the first question has answered by then."""

MOST_HELD_BYTES = 1 << 18
_LONGEST_LINE = 128


class Stranger(NamedTuple):
    """Another device answered than the one whose sitting this is; nothing of it is kept."""

    device: str
    wanted: str


class Introduction:
    """Watches a stream for the line in which the device says who it is."""

    def __init__(self) -> None:
        self._rest = b""

    def heard(self, data: bytes) -> str | None:
        """The device's id if the bytes complete such a line, else None."""
        if b"H," not in data and not self._rest.startswith(b"H"):
            self._rest = data[data.rfind(b"\n") + 1 :][:_LONGEST_LINE]
            return None
        *lines, rest = (self._rest + data).split(b"\n")
        self._rest = rest[:_LONGEST_LINE]
        said = [decode_line(line) for line in lines if line.startswith(b"H,")]
        devices = [line.device for line in said if isinstance(line, Hello)]
        return devices[-1] if devices else None


class Vetting:
    """Holds what a port just opened gives until it is known to be the wanted device's."""

    def __init__(self, wanted: str, *, opened_s: float) -> None:
        self.wanted = wanted
        self._opened_s = opened_s
        self._introduction = Introduction()
        self._held: list[bytes] = []
        self._held_bytes = 0

    def taken(self, data: bytes, *, now_s: float) -> bytes | Stranger | None:
        """Take what came.

        Returns:
            All that was held, once the device is known or has had its time to say who
            it is; a stranger; or None while it is not known yet.
        """
        self._held.append(data)
        self._held_bytes += len(data)
        device = self._introduction.heard(data)
        if device is not None and device != self.wanted:
            return Stranger(device, self.wanted)
        waited = now_s - self._opened_s >= TOLD_WITHIN_S
        if device is None and not waited and self._held_bytes < MOST_HELD_BYTES:
            return None
        return b"".join(self._held)
