"""Many lines in columns: the same as line by line, whatever stands among them."""

import random
from binascii import crc_hqx

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import BadLine, DeviceLine, Sample
from tensionlog.wire import LineDecoder, decode_line, encode
from tensionlog.wire.columns import columns


def checked(body: bytes) -> bytes:
    return b"%s*%04X\n" % (body, crc_hqx(body, 0))


def in_order(block: bytes) -> list[DeviceLine]:
    """What `columns` says of a block, as one list."""
    seq, t_us, counts, ends, others = columns(block)
    lines: list[DeviceLine] = [
        Sample(*row) for row in zip(seq.tolist(), t_us.tolist(), counts.tolist(), strict=True)
    ]
    stops = ends.tolist()
    for nth, other in enumerate(others):
        lines.insert(nth + other.before, other.line)
        stops.insert(nth + other.before, other.end)
    assert stops == [at + 1 for at, byte in enumerate(block) if byte == 10]
    return lines


bodies = st.from_regex(
    rb"S,(0|[0-9]{1,6}),(0|[0-9]{1,11}),-?[0-9]{0,11}(,[0-9]|,-|-|x| |\*)?", fullmatch=True
)
soundly_checked = bodies.map(checked)
samples = st.builds(
    Sample,
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFFFF),
    st.integers(-(2**31), 2**31 - 1),
).map(encode)
changed = st.tuples(samples, st.integers(0, 40), st.sampled_from(b"0,-*S\r9A a\xff")).map(
    lambda d: d[0][: d[1]] + bytes([d[2]]) + d[0][d[1] + 1 :].rstrip(b"\n") + b"\n"
)
blocks = st.lists(
    st.one_of(
        samples,
        samples.map(lambda raw: raw[:-1] + b"\r\n"),
        samples.map(bytes.lower),
        soundly_checked,
        changed,
        st.binary(max_size=40).map(lambda raw: raw + b"\n"),
        st.just(b"\n"),
    ),
    max_size=30,
).map(b"".join)


@settings(max_examples=70)
@given(blocks)
@example(b"")
@example(b"\n")
def test_columns_say_what_decode_line_says(block):
    assert in_order(block) == [decode_line(line) for line in block.split(b"\n")[:-1]]


@pytest.mark.parametrize(
    ("body", "is_sample"),
    [
        (b"S,0,0,0", True),
        (b"S,65535,4294967295,-2147483648", True),
        (b"S,1,1,2147483647", True),
        (b"S,65536,0,0", False),
        (b"S,0,4294967296,0", False),
        (b"S,0,0,2147483648", False),
        (b"S,0,0,-2147483649", False),
        (b"S,0,0,-0", False),
        (b"S,00,0,0", False),
        (b"S,0,01,0", False),
        (b"S,0,0,-07", False),
        (b"S,,0,0", False),
        (b"S,0,,0", False),
        (b"S,0,0,", False),
        (b"S,0,0,-", False),
        (b"S,0,0,--1", False),
        (b"S,0,-1,0", False),
        (b"S,0,0,+1", False),
        (b"s,0,0,0", False),
        (b"S,0,0,0,0", False),
        (b"S,0,0,11111111111", False),
        (b"9S,0,0,0", False),
        (b"S0,0,0,0", False),
    ],
)
def test_the_form_is_kept_to_the_letter(body, is_sample):
    """Each alone and between two sound lines, its checksum always right."""
    sound = encode(Sample(7, 8, 9))
    for block in (checked(body), sound + checked(body) + sound):
        lines = in_order(block)
        assert lines == [decode_line(line) for line in block.split(b"\n")[:-1]]
        assert any(line == decode_line(checked(body)) for line in lines)
        assert isinstance(decode_line(checked(body)), Sample) == is_sample


def test_no_wrong_checksum_passes():
    """All that differ by one or two bits from a right one, and its lower case."""
    body = b"S,4711,4293999990,-84122"
    crc = crc_hqx(body, 0)
    wrong = {crc ^ (1 << a) ^ (1 << b) for a in range(16) for b in range(16)} - {crc}
    block = b"".join(b"%s*%04X\n" % (body, other) for other in wrong)
    block += b"%s*%04x\n" % (body, crc)
    assert len(columns(block).seq) == 0
    assert all(isinstance(other.line, BadLine) for other in columns(block).others)


def test_a_long_damaged_stream_cut_anywhere_gives_the_same():
    """A seeded stream of 3,000 lines with every tenth one changed, in pieces of any size."""
    rng = random.Random(8)
    lines = []
    for i in range(3000):
        raw = bytearray(encode(Sample(i, 4_294_000_000 + i, rng.randrange(-(10**6), 10**6))))
        if i % 10 == 0:
            raw[rng.randrange(len(raw))] = rng.randrange(256)
        lines.append(bytes(raw))
    stream = b"".join(lines)
    whole = [decode_line(line) for line in stream.split(b"\n")[:-1]]
    decoder, found, at = LineDecoder(), [], 0
    while at < len(stream):
        size = rng.choice([1, 30, 700, 9000, 40_000])
        decoded = decoder.columns(stream[at : at + size])
        ends = [*decoded.ends.tolist(), *(other.end for other in decoded.others)]
        assert all(stream[at + end - 1] == 10 for end in ends)
        found += [*decoded.seq.tolist(), *(other.line for other in decoded.others)]
        at += size
    assert len(found) == len(whole)
    assert [f for f in found if isinstance(f, int)] == [
        line.seq for line in whole if isinstance(line, Sample)
    ]
    assert decoder.bytes_in_lines + decoder.pending_bytes == decoder.bytes_fed


def test_a_big_piece_for_the_decoder_is_read_in_columns_and_comes_as_lines():
    stream = b"".join(
        [encode(Sample(i, i, i)) for i in range(400)] + [b"noise\n", encode(Sample(1, 2, 3))]
    )
    lines = LineDecoder().feed(stream)
    assert lines == [decode_line(line) for line in stream.split(b"\n")[:-1]]
    assert all(type(number) is int for line in lines[:400] for number in line)
