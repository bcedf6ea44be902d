"""`device`: who is there, its rate, what it says, and what its empty cell is like."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from tensionlog.cli import device_port
from tensionlog.model.lines import Comment, Event, Fault, Hello
from tensionlog.sources import serial_port
from tensionlog.twin.bench import draw_bench
from tensionlog.twin.cell import Cell, convert
from tensionlog.twin.device import sample_line
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S
from tensionlog.wire import encode

STEP_S = 0.1
HELLO = Hello(1, "cell-north", "0.3", 80.0, 24, "1")
BUDGET = [
    "--sensitivity", 2.0, "--rated-n", 500, "--excitation", 4.3, "--converter-nv", 850,
    "--range-mv", 16.777216,
]  # fmt: skip


class SaidPort:
    """A device made of lines, in a time of its own: every read takes a tenth of a second."""

    def __init__(
        self,
        counts: Callable[[int], int] = lambda i: 84_211 + i % 7,
        *,
        hello: Hello | None = HELLO,
        also: Callable[[float], bytes] = lambda at_s: b"",
        raw: bytes | None = None,
    ) -> None:
        self.now_s = 1000.0
        self.told: list[str] = []
        self._counts, self._hello, self._also, self._raw = counts, hello, also, raw
        self._owes = b""
        self._n = 0

    def clock_s(self) -> float:
        return self.now_s

    def read(self) -> bytes:
        self.now_s += STEP_S
        if self._raw is not None:
            return self._raw
        rate_hz = HELLO.rate_hz if self._hello is None else self._hello.rate_hz
        until = round((self.now_s - 1000.0) * rate_hz)
        said = b"".join(
            sample_line(i % 65536, round(i * 1e6 / rate_hz), self._counts(i))
            for i in range(self._n, until)
        )
        self._n = until
        owed, self._owes = self._owes, b""
        return owed + said + self._also(self.now_s - 1000.0)

    def send(self, line: str) -> bool:
        self.told.append(line)
        if line == "?" and self._hello is not None:
            self._owes += encode(self._hello)
        if line.startswith("R,") and self._hello is not None:
            self._change(float(line[2:]))
        return True

    def _change(self, rate_hz: float) -> None:
        if rate_hz in (10.0, 80.0):
            self._hello = self._hello._replace(rate_hz=rate_hz)
        else:
            self._owes += encode(Comment("rate refused: the converter has no such rate"))
        self._owes += encode(self._hello)


@pytest.fixture
def plug(monkeypatch):
    """Plug devices in under their ports."""

    def plugged(**ports: SaidPort) -> None:
        @contextmanager
        def opened(url: str, *, baud: int) -> Iterator[SaidPort]:
            monkeypatch.setattr(device_port, "CLOCK_S", ports[url].clock_s)
            yield ports[url]

        monkeypatch.setattr(serial_port, "open_port", opened)

    return plugged


def still_cell(seconds: float, *, cell: Cell, seed: int = 3) -> Callable[[int], int]:
    """An empty cell of the twin's, as the counts of its conversions."""
    force = np.zeros(round(seconds / DT_S))
    counts = convert(stream(seed, "still"), cell=cell, force_n=force, rate_hz=80.0).counts
    return lambda i: int(counts[i])


def test_who_is_there_is_said(run, plug):
    plug(A=SaidPort())
    ran = run("device", "identify", "--port", "A")
    assert ran.code == 0
    assert ran.out == "A: cell-north, firmware 0.3, 80 samples/s, 24 bits, start 1\n"


def test_two_devices_with_one_name_are_told_by_their_ports(run, plug):
    plug(A=SaidPort(), B=SaidPort(), C=SaidPort(hello=HELLO._replace(device="cell-south")))
    ran = run("device", "identify", "--port", "A", "--port", "B", "--port", "C", "--json")
    assert ran.code == 1
    assert [row["hello"]["device"] for row in ran.rows] == ["cell-north"] * 2 + ["cell-south"]
    assert "A and B both call themselves cell-north" in ran.err


@pytest.mark.parametrize(
    ("port", "words"),
    [
        (SaidPort(hello=HELLO._replace(proto=2)), "version 2 of the wire"),
        (SaidPort(hello=HELLO._replace(proto=0)), "Put a newer firmware on it"),
        (SaidPort(raw=b""), "nothing came"),
        (SaidPort(raw=bytes(range(128, 200)) + b"\n"), "its speed is another"),
        (SaidPort(raw=b"weight 12.3 kg\r\n"), "bench set --pattern"),
    ],
    ids=["later", "earlier", "silent", "rubbish", "another sketch"],
)
def test_who_cannot_be_recorded_is_told_why_and_what_to_do(run, plug, port, words):
    plug(A=port)
    ran = run("device", "identify", "--port", "A")
    assert ran.code == 1
    assert words in ran.err


def test_a_device_without_identity_can_be_recorded_and_is_named_so(run, plug):
    plug(A=SaidPort(hello=None))
    ran = run("device", "identify", "--port", "A")
    assert (ran.code, "does not say who it is" in ran.out) == (0, True)


def test_all_ports_that_are_plugged_in_are_asked(run, plug, monkeypatch):
    plug(A=SaidPort())
    monkeypatch.setattr(
        serial_port, "list_ports", lambda: [serial_port.FoundPort("A", None, "twin")]
    )
    assert run("device", "identify", "--all").code == 0
    monkeypatch.setattr(serial_port, "list_ports", list)
    assert "no serial port is plugged in" in run("device", "identify", "--all").error


def test_a_rate_is_asked_for_and_the_answer_said(run, plug):
    port = SaidPort()
    plug(A=port)
    ran = run("device", "rate", "10", "--port", "A")
    assert ran.out == "cell-north now takes 10 samples/s.\n"
    assert port.told == ["?", "R,10"]


def test_a_rate_that_the_device_refuses_is_an_error_with_its_reason(run, plug):
    plug(A=SaidPort())
    ran = run("device", "rate", "40", "--port", "A")
    assert ran.code == 1
    assert "The device says: rate refused" in ran.err
    assert "cell-north stays at 80 samples/s." in ran.err


def test_a_rate_that_the_line_cannot_carry_is_refused_before_it_is_asked(run, plug):
    port = SaidPort()
    plug(A=port)
    ran = run("device", "rate", "80", "--port", "A", "--baud", "9600")
    assert ran.code == 2
    assert "need up to 26,400 bit/s and this line has 9,600: it carries 27/s" in ran.err
    assert port.told == []


def test_a_device_that_does_not_answer_keeps_its_rate(run, plug):
    plug(A=SaidPort(hello=None))
    assert "did not answer" in run("device", "rate", "80", "--port", "A").error


def test_buttons_and_faults_are_shown_as_they_come(run, plug):
    said = {
        1.0: encode(Event(80, 1_000_000, "redo")),
        2.0: encode(Fault(160, 2_000_000, "stuck")),
    }
    plug(A=SaidPort(also=lambda at_s: said.get(round(at_s, 3), b"")))
    ran = run("device", "watch", "--port", "A", "--seconds", "3")
    assert ran.out.splitlines()[1:] == [
        "event: seq 80 t_us 1000000 name redo",
        "fault: seq 160 t_us 2000000 fault stuck",
    ]
    assert "240 readings in 3.0 s, 0 missing, 0 damaged lines" in ran.err


def test_watching_in_json_is_a_line_each(run, plug):
    plug(A=SaidPort())
    assert run("device", "watch", "--port", "A", "--seconds", "1", "--json").rows[0] == {
        "kind": "hello",
        **HELLO._asdict(),
    }


def test_noise_on_the_twin_is_what_the_budget_says_within_a_fifth(run, plug):
    """850 nV at 17.2 µV/N are 0.049 N; the twin's cell has 0.05 N, 8600 counts a newton."""
    cell = Cell(counts_per_n=8600.0, noise_n=0.05)
    plug(A=SaidPort(still_cell(40.0, cell=cell)))
    run("bench", "set", "--zero-counts", 84211, "--counts-per-n", 8600)
    (row,) = run("device", "check", "--port", "A", *BUDGET, "--json").rows
    assert row["budget"]["counts_per_n"] == pytest.approx(8600.0)
    assert row["noise"]["sd"] == pytest.approx(
        row["budget"]["total_n"] * row["budget"]["counts_per_n"], rel=0.2
    )
    assert [f["level"] for f in row["findings"]] == ["fine"] * 3


@pytest.mark.parametrize("seed", [11, 12])
def test_the_noise_of_a_drawn_cell_is_measured_within_a_fifth(run, plug, seed):
    cell = draw_bench(seed).cell
    plug(A=SaidPort(still_cell(40.0, cell=cell, seed=seed)))
    run("bench", "set", "--zero-counts", 0, "--counts-per-n", cell.counts_per_n)
    (row,) = run("device", "check", "--port", "A", "--json").rows
    assert row["noise"]["sd"] / cell.counts_per_n == pytest.approx(cell.noise_n, rel=0.2)


def test_the_check_says_rate_clock_noise_and_what_it_found(run, plug):
    rng = np.random.default_rng(1)
    codes = np.round(84211 + 450 * rng.standard_normal(9000)).astype(int)
    plug(A=SaidPort(lambda i: int(codes[i])))
    ran = run("device", "check", "--port", "A", *BUDGET)
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[1].startswith("80.00")
    assert "ppm" in lines[1]
    assert lines[2].startswith("noise 4")
    assert lines[3].startswith("parts must have 0.049")
    assert all(line.startswith("ok ") for line in lines[4:])


def test_a_dead_bridge_is_found_by_a_pull_and_fails(run, plug):
    rng = np.random.default_rng(1)
    codes = np.round(450 * rng.standard_normal(9000)).astype(int)
    plug(A=SaidPort(lambda i: int(codes[i])))
    ran = run("device", "check", "--port", "A", "--pull", "--seconds", "10")
    assert ran.code == 1
    assert "BAD  The pull moved nothing" in ran.out
    assert "Now pull at the cell" in ran.err


def test_a_converter_that_repeats_itself_fails_the_check(run, plug):
    plug(A=SaidPort(lambda i: -1))
    ran = run("device", "check", "--port", "A", "--seconds", "10")
    assert ran.code == 1
    assert "the data line stands high" in ran.out


def test_without_a_port_it_asks_for_one(run):
    for command in (["identify"], ["rate", "80"], ["watch"], ["check"]):
        ran = run("device", *command)
        assert ran.code == 2
        assert "which port?" in ran.err
