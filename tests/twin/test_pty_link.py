"""The bench on a port: real bytes through a real terminal, every wait with an end."""

import os
import time
from collections.abc import Callable
from itertools import pairwise

import pytest
import serial

from tensionlog.model.lines import Comment, DeviceLine, Hello, Sample
from tensionlog.twin import play_job
from tensionlog.twin.pty_link import Link, served
from tensionlog.wire import LineDecoder

SPEED = 60.0
LONGEST_S = 5.0


def play(rate_hz: float) -> bytes:
    return play_job(seed=1, mains=2, crosses=0, pace=0.0, rate_hz=rate_hz).recording


PLAYED = {80.0: play(80.0), 160.0: play(160.0)}


def bench(**how: object):
    return served(PLAYED.__getitem__, clock=time.monotonic, speed=SPEED, **how)


class Listener:
    """A host that reads until it has seen enough, or for `LONGEST_S`."""

    def __init__(self, link: Link) -> None:
        """Open the port."""
        self.port = serial.Serial(link.path, 115200, timeout=0.02)
        self.lines: list[DeviceLine] = []
        self.decoder = LineDecoder()

    def until(self, enough: Callable[[list[DeviceLine]], bool]) -> list[DeviceLine]:
        """Read on until `enough` of the lines are there."""
        give_up = time.monotonic() + LONGEST_S
        while not enough(self.lines):
            assert time.monotonic() < give_up, f"still not enough of {len(self.lines)} lines"
            self.lines += self.decoder.feed(self.port.read(self.port.in_waiting or 1))
        return self.lines

    def ask(self, command: bytes) -> Hello | Comment:
        """Say `command`; return the next line that is no sample."""
        self.lines.clear()
        self.port.write(command)
        lines = self.until(lambda lines: any(isinstance(x, Hello | Comment) for x in lines))
        return next(x for x in lines if isinstance(x, Hello | Comment))


def samples(lines: list[DeviceLine]) -> list[Sample]:
    return [line for line in lines if isinstance(line, Sample)]


def test_after_the_first_line_nothing_is_missing_but_what_the_link_says_it_dropped():
    """Pyserial empties the buffer as it opens, so the beginning is nobody's promise."""
    with bench() as link:
        host = Listener(link)
        got = samples(host.until(lambda lines: len(samples(lines)) >= 2000))
        host.port.close()

    missing = sum((b.seq - a.seq) % 65536 - 1 for a, b in pairwise(got))
    assert missing <= link.dropped_lines  # a host that is kept from reading drops lines
    assert link.openings == 1


def test_it_goes_on_measuring_after_the_script_has_ended():
    script = PLAYED[80.0].count(b"\nS,")
    with bench() as link:
        host = Listener(link)
        got = samples(host.until(lambda lines: len(samples(lines)) >= script + 300))
        host.port.close()

    assert all((b.seq - a.seq) % 65536 == 1 for a, b in pairwise(got))
    assert all(0 < (b.t_us - a.t_us) % 2**32 < 20_000 for a, b in pairwise(got))


def test_nothing_is_said_before_somebody_listens():
    with bench() as link:
        time.sleep(0.1)
        host = Listener(link)
        first = samples(host.until(lambda lines: len(samples(lines)) >= 1))[0]
        host.port.close()

    assert first.seq < 0.1 * SPEED * 80


def test_it_says_who_it_is_when_asked_and_ignores_what_it_does_not_know():
    with bench() as link:
        host = Listener(link)
        host.port.write(b"AT\r\n\x00\xff\n")
        hello = host.ask(b"?\n")
        host.port.close()

    assert isinstance(hello, Hello)
    assert hello.rate_hz == 80.0


def test_another_rate_is_given_on_demand_without_a_gap():
    with bench() as link:
        host = Listener(link)
        host.until(lambda lines: len(samples(lines)) >= 200)
        hello = host.ask(b"R,160\n")
        got = samples(host.until(lambda lines: len(samples(lines)) >= 1200))
        host.port.close()

    periods = [(b.t_us - a.t_us) % 2**32 for a, b in pairwise(got[-200:])]
    assert hello.rate_hz == 160.0
    assert all((b.seq - a.seq) % 65536 == 1 for a, b in pairwise(got))
    assert sum(periods) / len(periods) == pytest.approx(1e6 / 160, rel=0.05)


@pytest.mark.parametrize("command", [b"R,fast\n", b"R,5\n", b"R,9999\n", b"R,nan\n"])
def test_a_rate_it_cannot_give_is_refused(command: bytes):
    with bench() as link:
        host = Listener(link)
        host.until(lambda lines: len(samples(lines)) >= 1)
        host.lines.clear()
        answer = host.ask(command)
        host.port.close()

    assert isinstance(answer, Comment)
    assert "rate" in answer.text


def test_opening_it_again_starts_it_anew():
    with bench() as link:
        boots = []
        for _ in range(2):
            host = Listener(link)
            host.until(lambda lines: len(samples(lines)) >= 50)
            boots.append(host.ask(b"?\n").boot)
            host.port.close()
            time.sleep(0.05)

    assert boots[0] != boots[1]
    assert link.openings == 2


def test_a_board_without_reset_goes_on_and_what_nobody_heard_is_missing():
    with bench(resets_on_open=False) as link:
        host = Listener(link)
        before = samples(host.until(lambda lines: len(samples(lines)) >= 50))[-1]
        first_boot = host.ask(b"?\n").boot
        host.port.close()
        time.sleep(0.1)
        host = Listener(link)
        after = samples(host.until(lambda lines: len(samples(lines)) >= 1))[0]
        second_boot = host.ask(b"?\n").boot
        host.port.close()

    assert first_boot == second_boot
    assert after.seq - before.seq > 0.05 * SPEED * 80


def test_pulling_the_cable_hangs_up_and_another_boot_comes_back_under_the_same_path():
    with bench() as link:
        host = Listener(link)
        host.until(lambda lines: len(samples(lines)) >= 20)
        first = host.ask(b"?\n")
        link.unplug()
        with pytest.raises((serial.SerialException, OSError)):
            for _ in range(200):
                host.port.read(host.port.in_waiting or 1)
        assert not os.path.lexists(link.path)
        host.port.close()
        link.replug()
        host = Listener(link)
        host.until(lambda lines: len(samples(lines)) >= 20)
        second = host.ask(b"?\n")
        host.port.close()

    assert first.device == second.device
    assert first.boot != second.boot


def test_it_ends_at_once_whatever_the_host_does():
    with bench() as link:
        port = serial.Serial(link.path, timeout=0.02)
        begun = time.monotonic()
    took = time.monotonic() - begun
    port.close()

    assert took < 1.0
    assert not os.path.lexists(link.path)


def test_unplugging_and_replugging_twice_is_harmless():
    with bench() as link:
        link.replug()
        link.unplug()
        link.unplug()
        link.replug()
        host = Listener(link)
        assert host.until(lambda lines: len(samples(lines)) >= 5)
        host.port.close()
