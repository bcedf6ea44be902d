"""`ports`: what is plugged in, or a word that nothing is."""

import pytest

from tensionlog.sources import serial_port
from tensionlog.sources.serial_port import FoundPort

FOUND = [
    FoundPort("/dev/ttyACM0", "/dev/serial/by-id/usb-twin", "a \x1b[2Jboard"),
    FoundPort("/dev/ttyS0", None, "n/a"),
]


@pytest.fixture
def plugged_in(monkeypatch):
    def plug(ports):
        monkeypatch.setattr(serial_port, "list_ports", lambda: ports)

    return plug


def test_ports_are_listed_a_line_each(run, plugged_in):
    plugged_in(FOUND)

    ran = run("ports")

    assert ran.out.splitlines() == [
        "/dev/ttyACM0 a ?[2Jboard /dev/serial/by-id/usb-twin",
        "/dev/ttyS0 n/a",
    ]


def test_ports_as_json(run, plugged_in):
    plugged_in(FOUND)

    assert run("ports", "--json").rows[1] == {
        "path": "/dev/ttyS0",
        "stable_path": None,
        "description": "n/a",
    }


def test_nothing_plugged_in_is_no_error_and_is_said(run, plugged_in):
    plugged_in([])

    ran = run("ports", "--json")

    assert (ran.code, ran.out) == (0, "")
    assert "No serial port" in ran.err
