"""The controller's own image, run on a simulated controller, into the product by its port.

The long form, ten minutes of the device's time and three restarts, takes about a minute:

    python -m pytest -m slow tests/firmware/test_emulated.py
"""

import random
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tensionlog.device.budget import Parts, budget_of
from tensionlog.device.diagnosis import diagnose
from tensionlog.model.lines import Comment, DeviceLine, Event, Fault, Hello, Sample
from tensionlog.pipeline.capture import Capture, Gone
from tensionlog.pipeline.listen import Listener, identify
from tensionlog.pipeline.replay import replay
from tensionlog.recorder import Recorder
from tensionlog.sources.recording import open_recording
from tensionlog.sources.serial_port import open_port
from tensionlog.twin.cell import Cell, convert
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S
from tensionlog.wire import LineDecoder

pytestmark = pytest.mark.long

HEADER = {"bench": "emulated", "purpose": "free", "rate_hz": 80.0, "adc_bits": 24}
FLAT_OUT = ("--speed", "0")
INTERRUPTS_US = 40
"""So long the other interrupts may keep the clock from being read."""

LONGEST_CLOCK_HIGH_US = 50.0
"""The converter switches itself off at 60 us."""


@pytest.fixture
def recorded(tmp_path: Path) -> Callable[..., Path]:
    """Record from a port until it goes; what the product does, without its screen."""

    def record(url: str, *commands: str) -> Path:
        port = open_port(url)
        capture = Capture(
            port=port,
            reopen=lambda: open_port(url),
            make_recorder=lambda: Recorder(tmp_path / "recordings", dict(HEADER)),
        )
        waiting = list(commands)
        gone = False
        while not gone:
            capture.step()
            if capture.recorder is not None and waiting:
                port.send(waiting.pop(0))
            while not capture.items.empty():
                gone |= isinstance(capture.items.get(), Gone)
        capture.stop()
        capture.run()
        return capture.recorder.path

    return record


def said(path: Path) -> list[DeviceLine]:
    return LineDecoder().feed(b"".join(i for i in open_recording(path) if isinstance(i, bytes)))


def of(kind: type, path: Path) -> list[Any]:
    return [line for line in said(path) if isinstance(line, kind)]


def some_codes(n: int, folder: Path) -> tuple[list[int], Path]:
    rng = random.Random(5)
    codes = [-8388606, 8388606, 0, -1, *(rng.randint(-900_000, 900_000) for _ in range(n))]
    file = folder / "codes.txt"
    file.write_text("\n".join(map(str, codes)))
    return codes, file


def test_every_conversion_arrives_with_its_code_and_its_time(
    image, emulate, recorded, tmp_path
):
    codes, file = some_codes(600, tmp_path)
    with emulate(image, *FLAT_OUT, "--for", "7", "--counts", str(file)) as controller:
        path = recorded(controller.port, "?")
        pins = controller.pins()
    samples = of(Sample, path)
    ledger = replay(path).ledger
    assert (ledger.bad_lines, ledger.missing, ledger.restarts, ledger.faults) == (0, 0, 0, {})
    assert [s.counts for s in samples] == codes[: len(samples)]
    assert len(samples) >= pins["reads"] - 1 > 500
    steps_us = [after.t_us - before.t_us for before, after in pairwise(samples)]
    assert max(abs(step_us - 12_500) for step_us in steps_us) < INTERRUPTS_US
    assert (pins["missed"], pins["irregular_reads"]) == (0, 0)
    assert pins["longest_clock_high_us"] < LONGEST_CLOCK_HIGH_US
    assert of(Hello, path)[-1].device == "emulated-1"


def test_three_restarts_leave_the_log_unharmed(image, emulate, recorded):
    with emulate(
        image, *FLAT_OUT, "--for", "5", "--reset-at", "1.003,2.005,3.007"
    ) as controller:
        path = recorded(controller.port)
    ledger = replay(path).ledger
    assert (ledger.restarts, ledger.missing) == (3, 0)
    assert ledger.bad_lines <= 3  # what a reset tears off in mid-line
    assert len({hello.boot for hello in of(Hello, path)}) == 4
    assert sum("started" in comment.text for comment in of(Comment, path)) >= 1


def test_a_supply_that_fell_is_told_at_the_next_start(image, emulate, recorded):
    with emulate(image, *FLAT_OUT, "--for", "2", "--brown-out-at", "1.008") as controller:
        path = recorded(controller.port)
    assert Comment("started: brown-out") in of(Comment, path)
    assert Fault(0, 0, "brown-out") in of(Fault, path)
    assert replay(path).ledger.restarts == 1


def test_a_board_that_resets_as_its_port_is_opened_is_another_start(image, emulate):
    boots = []
    with emulate(image, "--reset-on-open") as controller:
        for _ in range(2):
            with open_port(controller.port) as port:
                heard = identify(Listener(port, clock_s=time.monotonic), at_most_s=10.0)
            boots.append(heard.hello.boot)
            time.sleep(0.05)
    assert len(set(boots)) == 2


def test_a_firmware_that_hangs_is_started_again_by_its_watchdog(make_image, emulate, recorded):
    hangs = make_image("hangs", "-DHANG_AT=100")
    with emulate(hangs, *FLAT_OUT, "--for", "6") as controller:
        path = recorded(controller.port)
    assert replay(path).ledger.restarts == 2
    assert Comment("started: watchdog") in of(Comment, path)


def test_a_clock_that_wraps_costs_nothing(make_image, emulate, recorded):
    wraps = make_image("wraps", "-DCLOCK_START_US=4294000000UL")
    with emulate(wraps, *FLAT_OUT, "--for", "3") as controller:
        path = recorded(controller.port)
    ledger = replay(path).ledger
    assert (ledger.missing, ledger.restarts, ledger.bad_lines) == (0, 0, 0)
    assert ledger.seconds == pytest.approx(3.0, abs=0.1)
    assert of(Sample, path)[0].t_us > of(Sample, path)[-1].t_us


def test_a_lever_is_told_to_the_millisecond_and_without_its_bouncing(
    image, emulate, recorded, tmp_path
):
    levers = tmp_path / "levers.txt"
    levers.write_text("1.0 8\n1.003 0\n1.006 8\n2.5 0\n2.502 8\n2.504 0\n3.0 1\n")
    with emulate(image, *FLAT_OUT, "--for", "4", "--switches", str(levers)) as controller:
        path = recorded(controller.port)
    told = [(line.name, line.t_us / 1e6) for line in of(Event, path)]
    assert [name for name, _ in told] == ["shut-A", "open-A", "redo"]
    assert [at_s for _, at_s in told] == pytest.approx([1.0, 2.5, 3.0], abs=0.0015)


def test_it_says_when_its_converter_stops(image, emulate, recorded, tmp_path):
    _, file = some_codes(300, tmp_path)
    options = (*FLAT_OUT, "--for", "4", "--counts", str(file), "--late-at", "2")
    with emulate(image, *options) as controller:
        path = recorded(controller.port)
    assert [line.fault for line in of(Fault, path)] == ["not-ready"]


def test_another_rate_is_set_and_an_impossible_one_refused(image, emulate, recorded, tmp_path):
    _, file = some_codes(900, tmp_path)
    options = (*FLAT_OUT, "--for", "9", "--counts", str(file))
    with emulate(image, *options) as controller:
        path = recorded(controller.port, "R,1280", "R,10")
    assert [hello.rate_hz for hello in of(Hello, path)][-1] == 10.0
    assert any("it needs bit/s 422400" in comment.text for comment in of(Comment, path))
    last = of(Sample, path)[-2:]
    assert last[1].t_us - last[0].t_us == pytest.approx(100_000, abs=40)


BETWEEN_LINES = "150.02,300.033,450.058"
"""A line is 3 ms long and begins every 12.5 ms; these fall between two of them. What a
restart does to a line in the middle is looked at above."""


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_ten_minutes_at_80_a_second_with_three_restarts(image, emulate, recorded, tmp_path):
    _, file = some_codes(48_100, tmp_path)
    options = ("--for", "600", "--counts", str(file), "--reset-at", BETWEEN_LINES)
    with emulate(image, *FLAT_OUT, *options) as controller:
        path = recorded(controller.port)
        pins = controller.pins()
    ledger = replay(path).ledger
    assert (ledger.bad_lines, ledger.missing, ledger.restarts) == (0, 0, 3)
    assert ledger.samples == pytest.approx(48_000, abs=40)
    assert pins["missed"] <= 3  # a conversion that was ready while it started


@pytest.mark.slow
def test_the_twins_noise_through_the_firmware_is_what_the_budget_says(image, emulate, tmp_path):
    """The twin's cell on the converter's pins, the controller's image, the port, the check."""
    parts = Parts(
        sensitivity_mv_per_v=2.0, rated_n=500.0, excitation_v=4.3, converter_nv=850.0,
        range_mv=16.8,
    )  # fmt: skip
    cell = Cell(counts_per_n=parts.counts_per_n, noise_n=0.05)
    force = np.zeros(round(120.0 / DT_S))
    codes = convert(stream(6, "firmware"), cell=cell, force_n=force, rate_hz=80.0).counts
    file = tmp_path / "codes.txt"
    file.write_text("\n".join(map(str, codes.tolist())))
    with emulate(image, "--speed", "10", "--counts", str(file)) as controller:
        with open_port(controller.port) as port:
            listener = Listener(port, clock_s=time.monotonic)
            for _ in listener.listen(6.0):
                pass
        found = diagnose(listener.heard(), budget=budget_of(parts))
    assert found.noise.sd == pytest.approx(budget_of(parts).total_counts, rel=0.2)
    assert [f.code for f in found.findings if f.level != "fine"] == []
