"""One line of the wire, both ways."""

import string
from binascii import crc_hqx

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.lines import (
    BadLine,
    Comment,
    Event,
    Fault,
    Hello,
    PlainReading,
    Sample,
    UnknownLine,
)
from tensionlog.wire import MAX_LINE_BYTES, decode_line, encode

seqs = st.integers(0, 0xFFFF)
clocks = st.integers(0, 0xFFFFFFFF)
printable = string.ascii_letters + string.digits + " -._*#@!~\t;:"
names = st.text(printable, min_size=1, max_size=12)
samples = st.builds(Sample, seqs, clocks, st.integers(-(2**31), 2**31 - 1))
hellos = st.builds(
    Hello,
    st.integers(0, 99),
    names,
    st.text(printable, max_size=12),
    st.integers(1, 99999).map(lambda tenths: tenths / 10),
    st.integers(1, 32),
    names,
)
sound_lines = st.one_of(
    samples,
    hellos,
    st.builds(Event, seqs, clocks, names),
    st.builds(Fault, seqs, clocks, names),
    st.builds(Comment, st.text(printable + ",", max_size=80)),
)


def crc_bit_by_bit(data: bytes) -> int:
    """The checksum as `shared/wire.md` writes it down, without any library."""
    crc = 0
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


@given(sound_lines)
def test_what_was_encoded_decodes_to_itself(line):
    assert decode_line(encode(line)) == line


@given(sound_lines)
def test_a_cr_and_a_missing_lf_are_tolerated(line):
    raw = encode(line)[:-1]
    assert decode_line(raw) == decode_line(raw + b"\r\n") == decode_line(raw + b"\r") == line


@given(sound_lines, st.data())
def test_any_one_bit_flipped_makes_a_bad_line(line, data):
    """A CRC of 16 bits finds every single flipped bit."""
    raw = bytearray(encode(line)[:-1])
    at = data.draw(st.integers(0, len(raw) - 1))
    raw[at] ^= 1 << data.draw(st.integers(0, 7))
    assert isinstance(decode_line(bytes(raw)), BadLine)


@given(sound_lines, st.data())
def test_a_line_cut_short_is_never_another_line(line, data):
    raw = encode(line)[:-1]
    cut = raw[: data.draw(st.integers(0, len(raw) - 1))]
    assert not isinstance(decode_line(cut), Sample | Hello | Event | Fault)


@given(st.binary(max_size=300))
def test_bytes_of_any_kind_never_raise(raw):
    decode_line(raw)


@given(st.binary(max_size=120))
def test_the_checksum_is_the_documented_one(data):
    """Check value 0x31C3 over 123456789: the catalogue's, for CRC-16/XMODEM."""
    assert crc_bit_by_bit(b"123456789") == crc_hqx(b"123456789", 0) == 0x31C3
    assert crc_bit_by_bit(data) == crc_hqx(data, 0)


@pytest.mark.parametrize(
    "line",
    [
        Sample(65536, 0, 0),
        Sample(-1, 0, 0),
        Sample(0, 2**32, 0),
        Sample(0, 0, 2**31),
        Event(0, 0, "a,b"),
        Event(0, 0, ""),
        Fault(0, 0, "two\nlines"),
        Hello(1, "a,b", "1", 80.0, 24, "1"),
        Hello(1, "", "1", 80.0, 24, "1"),
        Hello(1, "cell", "1", 1e20, 24, "1"),
        Comment("é"),
        Comment("x" * MAX_LINE_BYTES),
        PlainReading(1.0, None, None),
    ],
)
def test_what_the_wire_cannot_say_is_refused(line):
    with pytest.raises(ValueError, match="cannot say"):
        encode(line)


def test_lines_that_came_from_elsewhere_are_written_as_they_came():
    assert encode(UnknownLine(b"T,1*0000")) == b"T,1*0000\n"
    assert encode(BadLine(b"S,1\r", "form")) == b"S,1\r\n"


def test_of_a_line_that_is_too_long_only_the_beginning_is_kept():
    bad = decode_line(b"U" * 5000)
    assert bad == BadLine(b"U" * 128, "too-long")
