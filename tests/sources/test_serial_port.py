"""Ports, on pseudo-terminals and sockets: quiet, ended and gone are different things."""

import os
import socket
import threading
import time
from contextlib import contextmanager

import pytest
import serial

from tensionlog.errors import LinkError
from tensionlog.sources import serial_port
from tensionlog.sources.serial_port import Ended, Port, list_ports, open_port, stable_name

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")


@contextmanager
def terminal():
    """The device's end of a pseudo-terminal, and the path of the host's."""
    device, host = os.openpty()
    path = os.ttyname(host)
    os.close(host)  # held open, the host would never see a hangup
    try:
        yield device, path
    finally:
        try:
            os.close(device)
        except OSError:
            pass  # the test has unplugged it


@contextmanager
def opened(path: str):
    with open_port(path) as port:
        yield port


@posix
def test_a_quiet_line_is_no_bytes_after_a_tenth_of_a_second():
    with terminal() as (_, path), opened(path) as port:
        begin = time.monotonic()
        assert port.read() == b""
        assert time.monotonic() - begin >= 0.05


@posix
def test_what_came_at_once_is_one_chunk():
    with terminal() as (device, path), opened(path) as port:
        os.write(device, b"S,0,1,2*0000\n" * 20)
        assert port.read() == b"S,0,1,2*0000\n" * 20


@posix
def test_a_read_that_waits_gets_the_rest_of_the_burst_too():
    with terminal() as (device, path), opened(path) as port:
        threading.Timer(0.02, os.write, (device, b"S,0,1,2*0000\n")).start()
        got = port.read()
        while len(got) < 13:
            got += port.read()
        assert got == b"S,0,1,2*0000\n"


@posix
def test_every_byte_value_comes_through():
    """No echo, no translation of LF or CR, no control characters."""
    with terminal() as (device, path), opened(path) as port:
        os.write(device, bytes(range(256)))
        assert port.read() == bytes(range(256))
        assert port.read() == b""


@posix
def test_an_unplugged_cable_is_gone_in_every_call():
    with terminal() as (device, path):
        port = open_port(path)
        os.close(device)
        for call in (port.read, port.identify, lambda: port.send("R,80"), port.read):
            with pytest.raises(LinkError, match=r"lost .* Check the cable") as caught:
                call()
            assert not isinstance(caught.value, Ended)
            assert "\n" not in str(caught.value)
        port.close()
        port.close()


@posix
def test_unplugging_ends_a_read_that_waits():
    with terminal() as (device, path), opened(path) as port:
        threading.Timer(0.02, os.close, (device,)).start()
        begin = time.monotonic()
        with pytest.raises(LinkError, match="lost"):
            while True:
                port.read()
        assert time.monotonic() - begin < 2.0


@posix
def test_commands_are_lines():
    with terminal() as (device, path), opened(path) as port:
        assert port.identify()
        assert port.send("R,80")
        got = b""
        while len(got) < len(b"?\nR,80\n"):
            got += os.read(device, 100)
        assert got == b"?\nR,80\n"


@posix
def test_a_device_that_does_not_read_does_not_stop_us(monkeypatch):
    monkeypatch.setattr(serial_port, "SEND_WITHIN_S", 0.05)
    with terminal() as (device, path), opened(path) as port:
        answers = [port.send("x" * 4000) for _ in range(20)]
        assert False in answers
        os.write(device, b"S")
        assert port.read() == b"S"
        begin = time.monotonic()
    assert time.monotonic() - begin < 1.0  # closing does not wait for what was not sent


@posix
def test_a_second_program_is_refused_while_the_first_listens():
    with terminal() as (device, path):
        with opened(path), pytest.raises(LinkError, match="in use by another program"):
            open_port(path)
        with opened(path) as port:
            os.write(device, b"S")
            assert port.read() == b"S"


@posix
def test_closing_does_not_drop_the_line_that_resets_boards():
    import termios

    with terminal() as (_, path):
        opened_by_us = open_port(path)
        descriptor = os.open(path, os.O_RDWR | os.O_NOCTTY) if os.geteuid() == 0 else None
        if descriptor is None:
            pytest.skip("TIOCEXCL keeps us out as well")
        assert not termios.tcgetattr(descriptor)[2] & termios.HUPCL
        os.close(descriptor)
        opened_by_us.close()


@posix
@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("/dev/no-such-port", "there is no port /dev/no-such-port"),
        ("/dev", "/dev is not a serial port"),
        (__file__, "is not a serial port"),
        ("/dev/null", "is not a serial port"),
        ("nonsense://x", "'nonsense' not known"),
        ("socket://127.0.0.1:1", "cannot open socket://127.0.0.1:1"),
    ],
)
def test_what_cannot_be_opened_is_one_line_with_a_remedy(path, says):
    with pytest.raises(LinkError) as caught:
        open_port(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "tensionlog ports" in str(caught.value)


def test_a_port_without_permission_names_the_group_that_has_it(monkeypatch, tmp_path):
    node = tmp_path / "ttyACM0"
    node.touch()

    def refuse(*_args, **_options):
        raise serial.SerialException(13, "could not open port")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    with pytest.raises(LinkError, match="no permission") as caught:
        open_port(str(node))
    if os.name == "posix":
        assert f"usermod -a -G {node.group()} " in str(caught.value)
    with pytest.raises(LinkError, match="as a user who may"):
        open_port(str(tmp_path / "gone"))


class Wired:
    """A port whose calls raise what they are told to."""

    def __init__(self, error: Exception | None = None, chunks: tuple = ()) -> None:
        self.error = error
        self.chunks = list(chunks)

    @property
    def in_waiting(self) -> int:
        """Bytes of the next chunk."""
        if self.error and not self.chunks:
            raise self.error
        return len(self.chunks[0]) if self.chunks else 0

    def read(self, size: int) -> bytes:
        """The next chunk, or nothing."""
        return self.chunks.pop(0)[:size] if self.chunks else b""

    def write(self, data: bytes) -> int:
        """Never works."""
        assert data
        raise self.error or OSError

    def close(self) -> None:
        """Never works either."""
        raise self.error or OSError


def errors_of_unplugging() -> list[Exception]:
    """What pyserial raises then, on this system and on Windows."""
    found: list[Exception] = [
        serial.SerialException("device reports readiness to read but returned no data"),
        serial.SerialException("ClearCommError failed (PermissionError(13, ...))"),
        OSError(5, "Input/output error"),
        TypeError("'NoneType' object cannot be interpreted as an integer"),
    ]
    if os.name == "posix":
        import termios

        found.append(termios.error(5, "Input/output error"))
    return found


@pytest.mark.parametrize("error", errors_of_unplugging(), ids=repr)
def test_all_that_pyserial_raises_is_one_kind_of_error(error):
    port = Port("COM3", Wired(error))
    with pytest.raises(LinkError, match="lost COM3"):
        port.read()
    with pytest.raises(LinkError, match="lost COM3"):
        port.identify()
    port.close()


def test_what_came_before_the_cable_was_pulled_is_not_lost():
    port = Port("COM3", Wired(OSError(5, "gone"), chunks=(b"S,1\n",)))
    assert port.read() == b"S,1\n"
    with pytest.raises(LinkError, match="gone"):
        port.read()


def test_a_stream_that_pyserial_calls_disconnected_has_ended():
    port = Port("rfc2217://bench:7", Wired(serial.SerialException("socket disconnected")))
    with pytest.raises(Ended, match="closed by the other side"):
        port.read()


@posix
def test_a_network_stream_comes_in_chunks_and_then_ends():
    server = socket.create_server(("127.0.0.1", 0))
    port = open_port(f"socket://127.0.0.1:{server.getsockname()[1]}")
    other, _ = server.accept()
    assert port.read() == b""
    other.sendall(b"S,0,1,2*0000\n" * 50)
    got = b""
    while len(got) < 650:
        got += port.read()
    assert got == b"S,0,1,2*0000\n" * 50
    port.send("?")
    assert other.recv(10) == b"?\n"
    other.close()
    server.close()
    with pytest.raises(Ended, match="closed by the other side"):
        port.read()
    port._serial._socket.close()  # noqa: SLF001 - pyserial's own close sleeps 0.3 s


def test_a_loop_gives_back_what_was_sent():
    with open_port("loop://") as port:
        port.identify()
        assert port.read() == b"?\n"
        assert port.read() == b""


def test_ports_are_listed_with_a_name_that_survives_unplugging(monkeypatch):
    class Found:
        def __init__(self, device: str, description: str) -> None:
            self.device, self.description = device, description

    found = [Found("/dev/ttyUSB1", "Adapter"), Found("/dev/ttyACM0", "Board")]
    links = {"/dev/ttyACM0": "/dev/serial/by-id/usb-board-7"}
    monkeypatch.setattr(serial_port, "comports", lambda: found)
    monkeypatch.setattr(serial_port, "_stable_paths", lambda: links)
    assert list_ports() == [
        ("/dev/ttyACM0", "/dev/serial/by-id/usb-board-7", "Board"),
        ("/dev/ttyUSB1", None, "Adapter"),
    ]


def test_a_port_without_a_stable_name_keeps_its_own(monkeypatch, tmp_path):
    node, link = tmp_path / "ttyACM0", tmp_path / "usb-board-7"
    node.touch()
    link.symlink_to(node)
    links = {os.path.realpath(node): str(link)}
    monkeypatch.setattr(serial_port, "_stable_paths", lambda: links)
    assert stable_name(str(node)) == stable_name(str(link)) == str(link)
    assert stable_name("socket://bench:7") == "socket://bench:7"


def test_listing_real_ports_works_on_this_machine():
    assert all(port.path for port in list_ports())
