"""A port that is busy for a moment is opened as soon as it is free."""

import os
import threading
from contextlib import contextmanager

import pytest

from tensionlog.errors import LinkError
from tensionlog.sources import busy_port
from tensionlog.sources.busy_port import open_when_free
from tensionlog.sources.serial_port import Busy, open_port

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")


@contextmanager
def terminal():
    """The device's end of a pseudo-terminal, and the path of the host's."""
    device, host = os.openpty()
    path = os.ttyname(host)
    os.close(host)
    yield device, path
    os.close(device)


def test_s10_a_port_that_is_busy_is_said_once_and_opened_as_soon_as_it_is_free(monkeypatch):
    monkeypatch.setattr(busy_port, "BUSY_EVERY_S", 0.02)
    told: list[str] = []
    with terminal() as (device, path):
        daemon = open_port(path)
        threading.Timer(0.15, daemon.close).start()
        with open_when_free(path, told=told.append) as port:
            os.write(device, b"S")
            assert port.read() == b"S"
    assert told == [f"BUSY: another program has {path}. It is tried again for 15 s."]


def test_s10_a_port_that_stays_busy_is_given_up_and_a_missing_one_at_once(monkeypatch):
    monkeypatch.setattr(busy_port, "BUSY_EVERY_S", 0.02)
    monkeypatch.setattr(busy_port, "BUSY_WITHIN_S", 0.1)
    with terminal() as (_, path), open_port(path):
        with pytest.raises(Busy, match="in use by another program"):
            open_when_free(path)
    told: list[str] = []
    with pytest.raises(LinkError, match="there is no port"):
        open_when_free("/dev/no-such-port", told=told.append)
    assert told == []
