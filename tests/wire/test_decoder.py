"""Streams of bytes to lines: nothing lost, cuts do not matter, nothing invented."""

import random
import time
import tracemalloc
from binascii import crc_hqx
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tensionlog.model.lines import BadLine, Comment, Event, Hello, Sample, UnknownLine
from tensionlog.wire import LineDecoder, decode_line, encode


def checked(body: bytes) -> bytes:
    """A line whose checksum holds, whatever it says."""
    return b"%s*%04X\n" % (body, crc_hqx(body, 0))


samples = st.builds(
    Sample,
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFFFF),
    st.integers(-(2**31), 2**31 - 1),
)
raw_samples = samples.map(encode)
out_of_range = st.sampled_from(
    [checked(b"S,65536,0,1"), checked(b"S,0,4294967296,1"), checked(b"S,0,0,2147483648")]
)
other_lines = st.one_of(
    st.just(encode(Hello(1, "cell", "1", 80.0, 24, "7"))),
    st.just(encode(Event(1, 2, "redo"))),
    st.just(encode(Comment("a*b"))),
    st.binary(max_size=140),
    st.just(b"\n"),
    out_of_range,
)
damaged = st.tuples(raw_samples, st.integers(0, 12), st.binary(max_size=2)).map(
    lambda d: d[0][: d[1]] + d[2] + d[0][d[1] + 1 :]
)
with_cr = raw_samples.map(lambda raw: raw[:-1] + b"\r\n")
runs = st.lists(raw_samples, min_size=8, max_size=30).map(b"".join)
streams = st.lists(
    st.one_of(raw_samples, runs, with_cr, damaged, other_lines), max_size=12
).map(b"".join)


def cut(stream: bytes, cuts: list[int]) -> list[bytes]:
    """The stream in pieces, cut at `cuts` (any numbers)."""
    places = sorted({at % (len(stream) + 1) for at in cuts} | {0, len(stream)})
    return [stream[a:b] for a, b in pairwise(places)]


@given(streams)
@example(b"".join(encode(Sample(i, i, i)) for i in range(20)) + checked(b"S,65536,0,1"))
def test_a_block_gives_the_same_as_line_by_line(stream):
    lines = stream.split(b"\n")[:-1]
    assert LineDecoder().feed(stream) == [decode_line(line) for line in lines]


@given(streams, st.lists(st.integers(0, 10_000), max_size=8))
def test_where_the_stream_is_cut_does_not_matter(stream, cuts):
    decoder, whole = LineDecoder(), LineDecoder()
    pieces = [line for piece in cut(stream, cuts) for line in decoder.feed(piece)]
    assert pieces == whole.feed(stream)
    assert decoder.pending == whole.pending
    assert decoder.close() == whole.close()


@given(streams, st.lists(st.integers(0, 10_000), max_size=8))
def test_no_byte_is_lost(stream, cuts):
    decoder = LineDecoder()
    events = [line for piece in cut(stream, cuts) for line in decoder.feed(piece)]
    assert decoder.bytes_in_lines + decoder.pending_bytes == decoder.bytes_fed == len(stream)
    assert len(events) == stream.count(b"\n")
    assert stream.endswith(decoder.pending) or decoder.pending_bytes > 128


@given(st.lists(samples, min_size=10, max_size=40), st.data())
def test_damage_is_counted_line_by_line_and_never_becomes_a_sample(sent, data):
    """Burst damage inside one line leaves all the others as they were sent."""
    hit = data.draw(st.sets(st.integers(0, len(sent) - 1), max_size=5))
    raws = [encode(sample) for sample in sent]
    for at in hit:
        raws[at] = b"\xff" + raws[at][1:]
    got = LineDecoder().feed(b"".join(raws))
    assert [line for line in got if isinstance(line, Sample)] == [
        sample for at, sample in enumerate(sent) if at not in hit
    ]
    assert sum(isinstance(line, BadLine) for line in got) == len(hit)


@given(samples, st.integers(0, 60))
def test_listening_may_begin_at_any_byte(sample, start):
    """The first line is then a fragment: one bad line at most, no false sample."""
    stream = encode(sample)[start:] + encode(sample)
    *before, last = LineDecoder().feed(stream)
    assert last == sample
    assert all(line == sample or isinstance(line, BadLine) for line in before)


@given(samples)
def test_a_last_line_that_lacks_only_its_lf_counts(sample):
    decoder = LineDecoder()
    assert decoder.feed(encode(sample)[:-1]) == []
    assert decoder.close() == [sample]
    assert decoder.pending == b""
    assert decoder.bytes_in_lines == decoder.bytes_fed


@given(samples, st.integers(1, 8))
def test_a_torn_tail_is_kept_and_is_no_bad_line(sample, lost):
    decoder = LineDecoder()
    torn = encode(sample)[: -1 - lost]
    decoder.feed(torn)
    assert decoder.close() == []
    assert decoder.pending == torn


def test_an_empty_stream_has_nothing():
    decoder = LineDecoder()
    assert decoder.feed(b"") == decoder.close() == []


def test_a_flood_without_lf_does_not_fill_memory():
    decoder = LineDecoder()
    piece = b"\x55" * 65536
    tracemalloc.start()
    for _ in range(200):
        decoder.feed(piece)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1_000_000
    assert decoder.pending_bytes == 200 * 65536
    assert decoder.feed(b"\n" + encode(Sample(1, 2, 3))) == [
        BadLine(b"\x55" * 128, "too-long"),
        Sample(1, 2, 3),
    ]


def test_an_unknown_kind_is_kept():
    raw = checked(b"T,9")
    assert LineDecoder().feed(raw) == [UnknownLine(raw[:-1])]


def test_random_damage_does_not_pass_the_checksum():
    """20,000 lines with two to four random bytes changed, seeded: none is accepted.

    One in 65,536 would pass a perfect checksum of 16 bits; the strict form leaves fewer.
    """
    rng = random.Random(20260302)
    accepted = 0
    for _ in range(20_000):
        sample = Sample(rng.randrange(65536), rng.randrange(2**32), rng.randrange(-9999, 99999))
        raw = bytearray(encode(sample)[:-1])
        for _ in range(rng.randint(2, 4)):
            raw[rng.randrange(len(raw))] = rng.randrange(32, 127)
        line = decode_line(bytes(raw))
        accepted += isinstance(line, Sample) and line != sample
    assert accepted == 0


@pytest.mark.slow
def test_speed_of_a_long_recording():
    """Far more than 2,000 times real time at 80/s, with a margin for a busy machine."""
    stream = b"".join(
        encode(Sample(i & 0xFFFF, i * 12500 & 0xFFFFFFFF, i)) for i in range(200_000)
    )
    best_s = min(_seconds(stream) for _ in range(3))
    assert 200_000 / best_s > 160_000


def _seconds(stream: bytes) -> float:
    decoder, begin = LineDecoder(), time.process_time()
    for at in range(0, len(stream), 1 << 17):
        decoder.feed(stream[at : at + (1 << 17)])
    return time.process_time() - begin
