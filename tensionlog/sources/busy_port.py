"""A port that another program has for a moment: tried again, for so long and no longer."""

import time
from collections.abc import Callable

from tensionlog.sources.serial_port import BAUD, Busy, Port, open_port

BUSY_WITHIN_S = 15.0
"""A modem daemon keeps a port that was just plugged in for some ten seconds."""

BUSY_EVERY_S = 0.25


def open_when_free(
    url: str, *, baud: int = BAUD, told: Callable[[str], object] = lambda _text: None
) -> Port:
    """Open a port; where another program has it, say so once and try again for a while.

    Args:
        url: See `open_port`.
        baud: Bits per second.
        told: Given one line as the waiting begins.

    Raises:
        Busy: It is still in use after `BUSY_WITHIN_S`.
        LinkError: It cannot be opened for another reason.
    """
    until_s = time.monotonic() + BUSY_WITHIN_S
    try:
        return open_port(url, baud=baud)
    except Busy:
        told(f"BUSY: another program has {url}. It is tried again for {BUSY_WITHIN_S:g} s.")
    while True:
        time.sleep(BUSY_EVERY_S)
        try:
            return open_port(url, baud=baud)
        except Busy:
            if time.monotonic() >= until_s:
                raise
