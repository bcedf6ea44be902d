"""A port: quiet, ended and gone are three different things. The only user of pyserial.

* quiet   `read` returns b"": nothing came within a tenth of a second
* ended   `Ended` is raised: the other side closed a network stream on purpose
* gone    `LinkError` is raised: unplugged, or the driver died

pyserial reports a pulled cable as three unrelated errors and keeps `is_open` true, so all
of them are mapped here and nowhere else. One thread owns a port: closing it from another
makes the reader die in the middle of a call.
"""

import errno
import os
import select
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

import serial
from serial.tools.list_ports import comports

from tensionlog.errors import LinkError

if sys.platform != "win32":
    import fcntl
    import termios

    _TERMIOS_ERRORS: tuple[type[Exception], ...] = (termios.error,)
else:
    _TERMIOS_ERRORS = ()

BAUD = 115200
QUIET_S = 0.1
SEND_WITHIN_S = 1.0

_GONE: tuple[type[Exception], ...] = (
    serial.SerialException,
    OSError,
    TypeError,
    *_TERMIOS_ERRORS,
)
_CANNOT_OPEN: tuple[type[Exception], ...] = (ValueError, *_GONE)
_BUSY = (errno.EBUSY, errno.EAGAIN)
_CHUNK_BYTES = 1 << 16


class Ended(LinkError):  # noqa: N818 - quiet, ended and gone are words for states
    """The other side of a network stream closed it; nothing more will come."""


class Busy(LinkError):  # noqa: N818 - a state as well
    """Another program has the port."""


class FoundPort(NamedTuple):
    """A port that is plugged in.

    Attributes:
        path: What to open.
        stable_path: A name that survives unplugging, or None where the system has none.
        description: What the adapter calls itself.
    """

    path: str
    stable_path: str | None
    description: str


def list_ports() -> list[FoundPort]:
    """The ports plugged in now, by name."""
    stable = _stable_paths()
    found = [
        FoundPort(port.device, stable.get(os.path.realpath(port.device)), port.description)
        for port in comports()
    ]
    return sorted(found)


def newcomers(*, baud: int = BAUD) -> "Callable[[], list[Callable[[], Port]]]":
    """What opens each port that is plugged in from now on and is not there yet.

    A port that was there before belongs to somebody else, and opening it may reset a
    board that is none of ours.
    """
    before = {port.path for port in list_ports()}

    def since_then() -> "list[Callable[[], Port]]":
        new = sorted({port.path for port in list_ports()} - before)
        return [partial(open_port, path, baud=baud) for path in new]

    return since_then


def stable_url(url: str) -> str:
    """A name of the port that survives unplugging, or `url` itself where there is none."""
    if "://" in url:
        return url
    return _stable_paths().get(os.path.realpath(url), url)


def _stable_paths() -> dict[str, str]:
    links = Path("/dev/serial/by-id").glob("*")
    return {os.path.realpath(link): str(link) for link in links}


def stable_name(path: str) -> str:
    """The name of a port that it will have when it is plugged in again, if there is one.

    /dev/ttyACM0 may come back as /dev/ttyACM1, most of all while the old one is still open.
    """
    return _stable_paths().get(os.path.realpath(path), path)


def open_port(url: str, *, baud: int = BAUD) -> "Port":
    """Open a port for this program alone.

    Args:
        url: A device such as /dev/ttyACM0 or COM3, or a URL such as socket://host:port.
        baud: Bits per second; a network stream has none.

    Raises:
        Busy: Another program has it.
        LinkError: It cannot be opened; the text says what to do.
    """
    try:
        opened = serial.serial_for_url(
            url,
            do_not_open=True,
            baudrate=baud,
            timeout=QUIET_S,
            write_timeout=SEND_WITHIN_S,
        )
        if "://" not in url:
            opened.exclusive = True
        opened.open()
    except _CANNOT_OPEN as error:
        kind = Busy if getattr(error, "errno", None) in _BUSY else LinkError
        raise kind(_cannot_open(url, error)) from error
    if "://" not in url:
        _claim(opened)
    return Port(url, opened)


class Port:
    """An open port.

    Attributes:
        url: What was opened.
    """

    def __init__(self, url: str, opened: Any) -> None:
        self.url = url
        self._serial = opened
        self._broken: Exception | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def read(self) -> bytes:
        """Wait up to 0.1 s and return what came; b"" says that the line was quiet.

        Raises:
            Ended: The other side closed the stream.
            LinkError: The port is gone; close it, search again, open again.
        """
        if self._broken is not None:
            raise self._lost(self._broken) from self._broken
        try:
            if self.url.startswith("socket://") and os.name == "posix":
                return self._from_socket()
            data = self._serial.read(self._serial.in_waiting or 1)
        except _GONE as error:
            raise self._lost(error) from error
        return bytes(data + self._what_came_with_it()) if data else b""

    def send(self, line: str) -> bool:
        """Send one line, such as `?` or `R,80`.

        Returns:
            False if the device did not take it within a second, which is no reason to
            stop listening.

        Raises:
            LinkError: The port is gone.
        """
        try:
            self._serial.write(line.encode("ascii") + b"\n")
        except serial.SerialTimeoutException:
            return False
        except _GONE as error:
            raise self._lost(error) from error
        return True

    def identify(self) -> bool:
        """Ask who is there; the answer is a `Hello` among the lines that follow."""
        return self.send("?")

    def close(self) -> None:
        """Let go of the port, without waiting for what was not sent."""
        if sys.platform != "win32":
            with suppress(*_CANNOT_OPEN, AttributeError):
                descriptor = self._serial.fileno()
                termios.tcflush(descriptor, termios.TCOFLUSH)
                fcntl.ioctl(descriptor, termios.TIOCNXCL)
        with suppress(*_GONE):
            self._serial.close()

    def _what_came_with_it(self) -> bytes:
        """The rest of a burst, so that it is one chunk; an error waits for the next call."""
        try:
            waiting = self._serial.in_waiting
            return bytes(self._serial.read(waiting)) if waiting else b""
        except _GONE as error:
            self._broken = error
            return b""

    def _from_socket(self) -> bytes:
        """Read a network stream in one go; pyserial would give it out byte by byte."""
        descriptor = self._serial.fileno()
        if not select.select([descriptor], [], [], QUIET_S)[0]:
            return b""
        data = os.read(descriptor, _CHUNK_BYTES)
        if not data:
            raise Ended(f"{self.url} was closed by the other side. Start it there again.")
        return data

    def _lost(self, error: Exception) -> LinkError:
        if isinstance(error, LinkError):
            return error
        if "socket disconnected" in str(error):
            return Ended(f"{self.url} was closed by the other side. Start it there again.")
        return LinkError(f"lost {self.url}: {error}. Check the cable and the hub's power.")


def _claim(opened: Any) -> None:
    """Keep other programs out, and keep closing from resetting the board.

    The lock that pyserial takes binds only programs that ask for it; TIOCEXCL binds all
    but root. HUPCL drops DTR on close, which resets many boards once more.
    """
    if sys.platform == "win32":
        return
    with suppress(*_GONE, AttributeError):
        descriptor = opened.fileno()
        fcntl.ioctl(descriptor, termios.TIOCEXCL)
        attributes = termios.tcgetattr(descriptor)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(descriptor, termios.TCSANOW, attributes)


def _cannot_open(url: str, error: Exception) -> str:
    """One line: what happened, and what to do about it."""
    number = getattr(error, "errno", None)
    if number in _BUSY:
        return f"{url} is in use by another program. Close that program, then try again."
    if number == errno.ENOENT:
        return f"there is no port {url}. Plug it in; 'tensionlog ports' lists what is there."
    if number in (errno.EACCES, errno.EPERM):
        return f"no permission to open {url}. {_remedy_for_permission(url)}"
    if number in (errno.EISDIR, errno.ENOTTY) or "Inappropriate ioctl" in str(error):
        return f"{url} is not a serial port. 'tensionlog ports' lists what is there."
    return f"cannot open {url}: {error}. 'tensionlog ports' lists what is there."


def _remedy_for_permission(url: str) -> str:
    try:
        group = Path(url).group()
    except (OSError, KeyError, NotImplementedError):
        return "Run it as a user who may use serial ports."
    return f"Add yourself to its group: sudo usermod -a -G {group} $USER, then log in again."
