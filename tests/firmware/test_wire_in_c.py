"""The core in C and the package in Python read and write the same lines, byte for byte.

The long form, a million lines each way, takes about two minutes:

    python -m pytest -m slow tests/firmware
"""

import csv
import random
import shutil
import subprocess
from binascii import crc_hqx
from collections.abc import Callable
from pathlib import Path

import pytest

from tensionlog.model.lines import (
    BadLine,
    Comment,
    DeviceLine,
    Event,
    Fault,
    Hello,
    Sample,
    UnknownLine,
)
from tensionlog.wire import decode_line, encode

Run = Callable[[str, bytes], bytes]
"""(mode, stdin) to stdout of the tool."""

pytestmark = pytest.mark.long

FIRMWARE = Path(__file__).parents[2] / "firmware_notes" / "firmware"
SHARED = Path(__file__).parents[2] / "shared"
VECTORS = list(csv.DictReader((SHARED / "wire_vectors.csv").read_text().splitlines()))
LINES = [bytes.fromhex(row["line_hex"]) for row in VECTORS]
TELLING = b"0123456789-,*SHEFK.+ \t\r~AF"
TEXTS = "abcXYZ019 -_.*\t,\x07\x7fé"


def read_in_c(run_tool: Run, lines: list[bytes]) -> list[DeviceLine]:
    rows = run_tool("read", b"".join(lines)).decode().splitlines()
    return [noun(row, line) for row, line in zip(rows, lines, strict=True)]


def noun(row: str, line: bytes) -> DeviceLine:
    """What the tool printed, as the record that Python has for it."""
    kind, *fields = row.split(" ")
    if kind == "sample":
        return Sample(*map(int, fields))
    if kind == "bad":
        return BadLine(decode_line(line).raw, fields[0])  # C keeps no bytes of it
    if kind == "hello":
        proto, device, firmware, rate, bits, boot = map(unhex, fields)
        return Hello(int(proto), device, firmware, float(rate), int(bits), boot)
    if kind in ("event", "fault"):
        made = Event if kind == "event" else Fault
        return made(int(fields[0]), int(fields[1]), unhex(fields[2]))
    if kind == "comment":
        return Comment(unhex(fields[0]))
    assert unhex(fields[0]).encode() == line.rpartition(b"*")[0]
    return UnknownLine(line.rstrip(b"\n").removesuffix(b"\r"))


def unhex(text: str) -> str:
    return "" if text == "-" else bytes.fromhex(text).decode("ascii")


def as_hex(text: str) -> str:
    return text.encode("latin-1").hex() or "-"


def say_row(line: DeviceLine) -> str:
    """A line the way the tool is asked to write it."""
    match line:
        case Sample(seq, t_us, counts):
            return f"S {seq} {t_us} {counts}"
        case Event(seq, t_us, name):
            return f"E {seq} {t_us} {as_hex(name)}"
        case Fault(seq, t_us, name):
            return f"F {seq} {t_us} {as_hex(name)}"
        case Comment(text):
            return f"K {as_hex(text)}"
        case Hello(proto, device, firmware, rate_hz, bits, boot):
            texts = as_hex(device), as_hex(firmware), as_hex(boot)
            rate_mhz = round(rate_hz * 1000)
            return f"H {proto} {texts[0]} {texts[1]} {rate_mhz} {bits} {texts[2]}"
    raise AssertionError(line)


def say_in_python(line: DeviceLine) -> bytes:
    try:
        return encode(line)
    except ValueError:
        return b"-\n"


def a_text(rng: random.Random) -> str:
    alphabet = TEXTS if rng.random() < 0.2 else TEXTS[:13]
    return "".join(rng.choices(alphabet, k=rng.choice((0, 1, 2, 5, 9, 20, 70, 90, 100))))


def a_number(rng: random.Random, bits: int) -> int:
    """Numbers of every length, the greatest and the least among them."""
    top = (1 << bits) - 1
    return rng.choice((0, top, rng.getrandbits(bits), rng.getrandbits(rng.randint(1, bits))))


def something_to_say(rng: random.Random) -> DeviceLine:
    stamp = a_number(rng, 16), a_number(rng, 32)
    kind = rng.randrange(8)
    if kind < 4:
        return Sample(*stamp, a_number(rng, 32) - 2**31)
    if kind == 4:
        return Event(*stamp, a_text(rng))
    if kind == 5:
        return Fault(*stamp, a_text(rng))
    if kind == 6:
        return Comment(a_text(rng))
    texts = a_text(rng), a_text(rng), a_text(rng)
    rate_hz = a_number(rng, 24) / 1000
    return Hello(a_number(rng, 8), texts[0], texts[1], rate_hz, a_number(rng, 6), texts[2])


def a_line(rng: random.Random) -> bytes:
    """A line of the wire, most often damaged, half of those under a checksum that holds."""
    if rng.random() < 0.5:
        line = bytearray(rng.choice(LINES))
    else:
        line = bytearray(say_in_python(something_to_say(rng)))
    for _ in range(rng.choice((0, 1, 1, 2, 3))):
        at = rng.randrange(len(line))
        new = rng.choice(TELLING) if rng.random() < 0.8 else rng.randrange(256)
        cut = rng.randrange(3)
        line[at : at + (cut > 0)] = b"" if cut == 2 else bytes([new])
        line = line or bytearray(b"*")
    whole = bytes(line).replace(b"\n", b"")
    if rng.random() < 0.5:
        body = whole.removesuffix(b"\r").rpartition(b"*")[0]
        whole = b"%b*%04X" % (body, crc_hqx(body, 0))
    return whole + b"\n"


def read_alike(run_tool: Run, *, seed: int, lines: int) -> dict[str, int]:
    """Read random lines in both languages; return how many there were of each kind."""
    rng = random.Random(seed)
    some = [a_line(rng) for _ in range(lines)]
    in_python = list(map(decode_line, some))
    assert read_in_c(run_tool, some) == in_python
    kinds = [type(line).__name__ for line in in_python]
    return {kind: kinds.count(kind) for kind in set(kinds)}


def say_alike(run_tool: Run, *, seed: int, lines: int) -> int:
    """Write random lines in both languages; return how many could be said."""
    rng = random.Random(seed)
    some = [something_to_say(rng) for _ in range(lines)]
    rows = "".join(f"{say_row(line)}\n" for line in some)
    in_c = run_tool("say", rows.encode())
    in_python = list(map(say_in_python, some))
    assert in_c == b"".join(in_python)
    return lines - in_python.count(b"-\n")


def test_every_vector_is_read_as_python_reads_it(run_tool):
    assert read_in_c(run_tool, LINES) == list(map(decode_line, LINES))


def test_every_canonical_vector_is_written_to_the_byte(run_tool):
    canonical = [
        raw
        for row, raw in zip(VECTORS, LINES, strict=True)
        if row["canonical"] == "yes" and row["gives"] != "unknown"
    ]
    rows = "".join(f"{say_row(decode_line(raw))}\n" for raw in canonical)
    assert run_tool("say", rows.encode()) == b"".join(canonical)
    assert len(canonical) > 20


def test_random_lines_are_read_alike(run_tool):
    kinds = read_alike(run_tool, seed=7, lines=6000)
    assert min(kinds.values()) > 20
    assert len(kinds) == 7


def test_random_lines_are_written_alike(run_tool):
    said = say_alike(run_tool, seed=8, lines=4000)
    assert 2000 < said < 4000


def test_no_law_of_the_core_breaks_on_bred_inputs(host, tmp_path):
    seeds = tmp_path / "seeds"
    seeds.write_bytes(b"".join(LINES) + b"?\nR,80\nR,92.8\n")
    command = [str(host / "fuzz"), "9", "15000", str(seeds)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    assert said == "15000 inputs, every law held\n"


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_million_random_lines_are_read_alike(run_tool):
    assert min(read_alike(run_tool, seed=70, lines=1_000_000).values()) > 10_000


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_million_random_lines_are_written_alike(run_tool):
    assert say_alike(run_tool, seed=80, lines=1_000_000) > 500_000


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_no_law_of_the_core_breaks_on_a_million_bred_inputs(host, tmp_path):
    seeds = tmp_path / "seeds"
    seeds.write_bytes(b"".join(LINES) + b"?\nR,80\nR,92.8\n")
    command = [str(host / "fuzz"), "90", "1000000", str(seeds)]
    assert (
        "every law held"
        in subprocess.run(command, check=True, capture_output=True, text=True).stdout
    )


PLANTED = {
    "a minus zero is let in": ("wire_read.c", " || (negative && !size)", ""),
    "a line may be too long": ("wire_read.c", "size > TL_MAX_LINE", "size > TL_MAX_LINE + 9"),
    "a comma is let into a name": ("wire.c", "*c == ','", "*c == ';'"),
    "the pen writes beyond its line": (
        "wire.c",
        "size < TL_MAX_LINE)",
        "size < TL_MAX_LINE + 3)",
    ),
    "a line is queued without room": ("device.c", "> TL_RING - 1", "> TL_RING + 8"),
    "a number is left out": ("device.c", "device->next_seq++", "device->next_seq += 2"),
}


@pytest.mark.slow
@pytest.mark.parametrize("fault", PLANTED)
def test_the_fuzzer_finds_a_fault_that_was_planted(host, tmp_path, fault):
    name, good, bad = PLANTED[fault]
    copy = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, copy, ignore=shutil.ignore_patterns("build"))
    source = copy / "core" / name
    text = source.read_text()
    assert good in text
    source.write_text(text.replace(good, bad, 1))
    build = f"BUILD={tmp_path / 'b'}"
    subprocess.run(["make", "-s", "-C", str(copy), "host", build], check=True)
    seeds = tmp_path / "seeds"
    seeds.write_bytes(b"".join(LINES))
    found = subprocess.run(
        [str(tmp_path / "b" / "fuzz"), "9", "40000", str(seeds)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode != 0
    assert "broken: " in found.stderr or "AddressSanitizer" in found.stderr
