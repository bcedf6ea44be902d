"""Faults of the line, each provoked on a pseudo-terminal and ended in the law.

Names begin with the row of `tests/lost/faults.md`.
"""

import os
import random
import time
from functools import partial
from pathlib import Path

import pytest

from tensionlog.model.lines import Hello, Sample
from tensionlog.pipeline import capture as capture_module
from tensionlog.pipeline.capture import Capture, Gone, Heard, Quiet, Stranger
from tensionlog.pipeline.live import Live
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources import serial_port
from tensionlog.sources.serial_port import open_port
from tensionlog.twin import play_job
from tensionlog.twin.pty_link import served
from tensionlog.wire import encode

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")

HEADER = {"bench": "north", "purpose": "free", "rate_hz": 80.0, "adc_bits": 24}
FOUND_AGAIN_WITHIN_S = 2.0
PLAYED = play_job(seed=3, mains=2, crosses=0, pace=0.0)


def bench(**how):
    how = {"clock": time.monotonic, "speed": 10.0, "resets_on_open": False} | how
    return served(lambda _hz: PLAYED.recording, **how)


def test_s4_s7_a_cable_put_back_under_the_same_name_is_recorded_again(tmp_path, following, law):
    with bench() as link, following(link.path) as sitting:
        sitting.until(lambda: sitting.live.samples > 50)
        link.unplug()
        noticed_s = sitting.until(lambda: bool(sitting.told_of(Gone)))
        link.replug()
        took_s = sitting.until(lambda: bool(sitting.told_of(Heard)))
        before = sitting.live.samples
        sitting.until(lambda: sitting.live.samples > before + 20)
        sitting.live.finish()

    (proof,) = law(tmp_path / "r")
    assert noticed_s < 1.0
    assert took_s < FOUND_AGAIN_WITHIN_S
    assert proof.ledger.restarts == 1
    assert proof.ledger.bad_lines <= 1


def test_s7_a_cable_put_back_under_another_name_is_found_by_the_device_itself(
    tmp_path, following, law
):
    with bench() as link:
        folder, known = os.path.dirname(link.path), {link.path}  # noqa: PTH120

        def newcomers():
            there = {os.path.join(folder, name) for name in os.listdir(folder)}  # noqa: PTH118, PTH208
            return [partial(open_port, path) for path in there - known]

        with following(link.path, newcomers=newcomers) as sitting:
            sitting.until(lambda: sitting.live.samples > 50)
            link.unplug()
            sitting.until(lambda: bool(sitting.told_of(Gone)))
            link.replug(under="ttyTWIN7")
            took_s = sitting.until(lambda: bool(sitting.told_of(Heard)))
            before = sitting.live.samples
            sitting.until(lambda: sitting.live.samples > before + 20)
            sitting.live.finish()

    law(tmp_path / "r")
    assert took_s < FOUND_AGAIN_WITHIN_S


def test_s8_of_another_device_under_the_same_name_nothing_is_recorded(tmp_path, following, law):
    stranger = of_another_device(PLAYED.recording)
    with (
        bench() as link,
        served(lambda _hz: stranger, clock=time.monotonic, speed=10.0) as theirs,
    ):
        where = [link.path]
        with following(link.path, reopen=lambda: open_port(where[0])) as sitting:
            sitting.until(lambda: sitting.live.samples > 50)
            where[0] = theirs.path
            link.unplug()
            sitting.until(lambda: bool(sitting.told_of(Stranger)))
            link.replug()
            where[0] = link.path
            sitting.until(lambda: bool(sitting.told_of(Heard)))
            sitting.live.finish()

    law(tmp_path / "r")
    (path,) = (tmp_path / "r").glob("*.rec")
    assert b"twin-9999" not in path.read_bytes()


def of_another_device(recording: bytes) -> bytes:
    """The same recording, said by a device of another name."""
    lines = recording.split(b"\n")
    sound = [
        encode(Hello(1, "twin-9999", "fw", 80.0, 24, "1")).rstrip(b"\n")
        if line.startswith(b"H,")
        else line
        for line in lines
    ]
    return b"\n".join(sound)


# -- what the bytes themselves can be ------------------------------------------------------


def lines(n: int, *, seq: int = 0, t_us: int = 0) -> list[bytes]:
    return [
        encode(Sample((seq + i) % 65536, (t_us + 12_500 * i) % 2**32, 84_000)) for i in range(n)
    ]


def recorded(tmp_path, law, *chunks: bytes):
    """The proof of a sitting in which a port gave these chunks, one every 50 ms."""
    clock = iter(range(1_000_000))
    disk = Disk(utc_s=lambda: 1_772_442_000.0 + 0.05 * next(clock))
    with Recorder(tmp_path / "r", HEADER, disk=disk, in_background=False) as recorder:
        for chunk in chunks:
            recorder.received(chunk)
    (proof,) = law(tmp_path / "r")
    return proof


@pytest.mark.parametrize("cut", range(1, 33, 4))
def test_s3_listening_that_begins_in_mid_line_costs_that_line_alone(tmp_path, law, cut):
    whole = b"".join(lines(40))
    proof = recorded(tmp_path, law, whole[cut : cut + 300], whole[cut + 300 :])

    assert proof.ledger.samples == 40 - 1 - (cut > len(lines(1)[0]))
    assert (proof.ledger.missing, proof.false) == (0, 0)


@pytest.mark.parametrize("speed", [0.5, 2.0, 0.9, 1.1])
def test_s21_of_a_line_at_another_speed_nothing_is_taken_for_a_sample(tmp_path, law, speed):
    """Bits are sampled at the wrong moments, as a receiver at another baud rate does."""
    heard = at_another_speed(b"".join(lines(200)), speed)
    proof = recorded(tmp_path, law, heard)

    assert proof.ledger.samples == 0


def at_another_speed(said: bytes, speed: float) -> bytes:
    """What a receiver hears that samples `speed` times as fast as it is sent (8N1)."""
    bits = [1] * 20
    for byte in said:
        bits += [0, *((byte >> k) & 1 for k in range(8)), 1]
    heard, at = bytearray(), 0.0
    while int(at + 10 / speed) < len(bits) - 2:
        if bits[int(at)]:
            at += 0.25 / speed
            continue
        sampled = [bits[int(at + (1.5 + k) / speed)] for k in range(8)]
        heard.append(sum(bit << k for k, bit in enumerate(sampled)))
        at += 9.5 / speed
    return bytes(heard)


def test_s22_s23_a_burst_of_noise_is_kept_counted_and_over_at_the_next_line(tmp_path, law):
    rng = random.Random(7)
    sent = lines(100)
    boot_text = b"\x00rst:0x1 (POWERON_RESET),boot:0x13\r\n"
    chunks = [*sent[:40], rng.randbytes(700), sent[40], boot_text, *sent[41:]]
    proof = recorded(tmp_path, law, *chunks)

    assert proof.ledger.samples + proof.ledger.missing == 100
    assert proof.ledger.missing <= 1  # the line that the noise was glued to
    (path,) = (tmp_path / "r").glob("*.rec")
    assert boot_text in path.read_bytes()


def test_a16_number_and_clock_wrap_in_one_sitting_and_nothing_is_missing(tmp_path, law):
    proof = recorded(tmp_path, law, *lines(300, seq=65_400, t_us=2**32 - 1_000_000))

    assert (proof.ledger.samples, proof.ledger.missing, proof.ledger.restarts) == (300, 0, 0)


def test_a18_a_device_that_starts_again_makes_another_boot_and_no_gap(tmp_path, law):
    again = encode(Hello(1, "cell-7", "fw", 80.0, 24, "2"))
    proof = recorded(tmp_path, law, *lines(50, seq=900, t_us=10**7), again, *lines(50))

    assert (proof.ledger.samples, proof.ledger.missing, proof.ledger.restarts) == (100, 0, 1)


def test_s26_a_device_that_stalls_is_told_within_its_two_seconds_and_a_flood_is_borne(
    tmp_path, law, following, monkeypatch
):
    """One device says nothing, then 10,000 lines at once: both are told or stored."""
    monkeypatch.setattr(capture_module, "QUIET_S", 0.3)
    port = Bursting(b"".join(lines(10)), b"".join(lines(10_000, seq=10, t_us=125_000)))
    capture = Capture(
        port=port,
        reopen=lambda: port,
        make_recorder=lambda: Recorder(tmp_path / "r", HEADER),
    )
    with Live(capture) as live:
        told: list = []
        deadline_s = time.monotonic() + 30.0
        while live.samples < 10_010:
            assert time.monotonic() < deadline_s
            told += live.poll(0.02)
        live.finish()

    (proof,) = law(tmp_path / "r")
    assert [type(t) for t in told if isinstance(t, Quiet | Heard)][:2] == [Quiet, Heard]
    assert (proof.ledger.samples, proof.ledger.missing) == (10_010, 0)


class Bursting:
    """A port that says one thing, is quiet for a while, then says another at once."""

    def __init__(self, first: bytes, later: bytes):
        self._first, self._later = first, later
        self._quiet_until_s = time.monotonic() + 0.5

    def read(self) -> bytes:
        if self._first:
            said, self._first = self._first, b""
            return said
        if time.monotonic() < self._quiet_until_s:
            time.sleep(0.02)
            return b""
        said, self._later = self._later[:65_536], self._later[65_536:]
        if not said:
            time.sleep(0.02)
        return said

    def identify(self) -> bool:
        return True

    def close(self) -> None:
        pass


def test_s16_no_call_is_made_that_spoils_a_later_read():
    """A cancelled read makes the next one return at once; a reset throws bytes away."""
    text = Path(serial_port.__file__).read_text(encoding="utf-8")

    for name in ("cancel_read", "readline", "read_until", "reset_input_buffer", ".flush("):
        assert f"._serial.{name.strip('.(')}" not in text
