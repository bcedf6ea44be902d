"""The vectors in `shared/` decode to what they say; canonical ones are what we write."""

import csv
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
from tensionlog.wire import LineDecoder, decode_line, encode

SHARED = Path(__file__).parents[2] / "shared"
VECTORS = list(csv.DictReader((SHARED / "wire_vectors.csv").read_text().splitlines()))
IDS = [row["name"] for row in VECTORS]


def said(line: DeviceLine) -> tuple[str, str]:
    """A line the way the vectors put it."""
    match line:
        case BadLine():
            return "bad", line.why
        case UnknownLine():
            return "unknown", line.raw.rpartition(b"*")[0].decode()
        case Hello():
            rate = f"{line.rate_hz:g}"
            return "hello", "|".join(map(str, line._replace(rate_hz=rate)))
        case Sample() | Event() | Fault() | Comment():
            return type(line).__name__.lower(), "|".join(map(str, line))
    raise AssertionError(line)


@pytest.mark.parametrize("row", VECTORS, ids=IDS)
def test_each_vector_gives_what_it_says(row):
    assert said(decode_line(bytes.fromhex(row["line_hex"]))) == (row["gives"], row["values"])


@pytest.mark.parametrize("row", VECTORS, ids=IDS)
def test_exactly_the_canonical_vectors_are_what_we_write(row):
    raw = bytes.fromhex(row["line_hex"])
    line = decode_line(raw)
    writes_it = not isinstance(line, BadLine | UnknownLine) and encode(line) == raw
    assert writes_it == (row["canonical"] == "yes" and row["gives"] != "unknown")


def test_all_vectors_in_one_stream_are_told_apart():
    stream = b"".join(bytes.fromhex(row["line_hex"]) for row in VECTORS)
    assert list(map(said, LineDecoder().feed(stream))) == [
        (row["gives"], row["values"]) for row in VECTORS
    ]


def test_every_kind_and_every_reason_has_a_vector():
    assert {row["gives"] for row in VECTORS} == {
        "sample",
        "hello",
        "event",
        "fault",
        "comment",
        "unknown",
        "bad",
    }
    reasons = {row["values"] for row in VECTORS if row["gives"] == "bad"}
    assert reasons == {"form", "crc", "too-long"}


def test_the_page_names_every_column_and_the_check_value():
    page = (SHARED / "wire.md").read_text("utf-8")
    assert all(f"`{column}`" in page for column in VECTORS[0])
    assert "31C3" in page
