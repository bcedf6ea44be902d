"""The bench behind a socket: the same bytes as on a terminal, one listener after another."""

import itertools
import socket
import time

import pytest

from tensionlog.model.lines import Hello, Sample
from tensionlog.twin import play_job
from tensionlog.twin.network_link import served_on_network
from tensionlog.wire import LineDecoder

PLAYED = play_job(seed=1, mains=2, crosses=0, pace=0.0).recording
LONGEST_S = 5.0


@pytest.fixture
def address():
    with served_on_network(lambda _hz: PLAYED, clock=time.monotonic, speed=60.0) as url:
        host, _, port = url.removeprefix("socket://").partition(":")
        yield host, int(port)


def heard(address, *, samples: int, say: bytes = b"") -> list:
    """Listen until so many samples have come."""
    decoder, lines = LineDecoder(), []
    give_up = time.monotonic() + LONGEST_S
    with socket.create_connection(address, timeout=LONGEST_S) as connection:
        connection.sendall(say)
        while sum(isinstance(line, Sample) for line in lines) < samples:
            assert time.monotonic() < give_up
            lines += decoder.feed(connection.recv(4096))
    return lines


def test_nothing_is_missing_from_the_first_line_on(address):
    lines = heard(address, samples=300)

    seqs = [line.seq for line in lines if isinstance(line, Sample)]
    assert isinstance(lines[0], Hello)
    assert all((b - a) % 65_536 == 1 for a, b in itertools.pairwise(seqs))


def test_a_question_is_answered(address):
    lines = heard(address, samples=100, say=b"?\n")

    assert sum(isinstance(line, Hello) for line in lines) == 2


def test_who_comes_next_finds_another_boot(address):
    first = next(x for x in heard(address, samples=10) if isinstance(x, Hello))
    second = next(x for x in heard(address, samples=10) if isinstance(x, Hello))

    assert first.boot != second.boot
    assert first.device == second.device


def test_the_service_ends_at_once():
    with served_on_network(lambda _hz: PLAYED, clock=time.monotonic, speed=60.0):
        began_s = time.monotonic()
    assert time.monotonic() - began_s < 1.0
