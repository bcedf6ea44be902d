"""What is kept to be written again: whole lines, never older than room allows."""

from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.recording import Arrival
from tensionlog.recorder.ring import Ring
from tensionlog.recorder.weave import Piece

ARRIVALS = [b"@ 2026-03-02T09:00:%02d.000000Z\n" % n for n in range(20)]


def piece(raw: bytes) -> Piece:
    return Piece(raw, Arrival(0.0) if raw.startswith(b"@ ") else raw)


def filled(pieces, capacity_bytes: int = 1 << 20) -> tuple[Ring, bytes]:
    ring = Ring(capacity_bytes=capacity_bytes)
    for number, raw in enumerate(pieces):
        ring.add(piece(raw), now_s=number * 0.1)
    return ring, b"".join(pieces)


streams = st.lists(
    st.sampled_from([*ARRIVALS[:3], b"S,1,2,3*0000\n", b"S,2", b",3*0000\n", b"\n"]),
    max_size=30,
)


@given(streams, st.integers(0, 400), st.integers(1, 400))
def test_what_is_given_back_is_the_end_of_the_stream_from_a_whole_line_on(pieces, offset, room):
    ring, stream = filled(pieces, room)
    offset = min(offset, len(stream))
    start, lines = ring.since(offset)
    repeated = lines[: len(lines) - (len(stream) - start)]

    assert lines.endswith(stream[start:])
    assert repeated == b"" or (repeated.startswith(b"@ ") and repeated.count(b"\n") == 1)
    assert start == 0 or start == len(stream) or stream[start - 1 : start] == b"\n"
    assert start <= offset or ring.begin > 0


def test_the_arrival_in_force_stands_in_front_even_if_it_has_given_way():
    ring, stream = filled([ARRIVALS[0], b"S,1\n", b"S,2\n", b"S,3\n"], 9)

    start, lines = ring.since(0)

    assert lines == ARRIVALS[0] + b"S,2\nS,3\n"
    assert start == stream.index(b"S,2")


def test_lines_that_begin_with_their_own_arrival_get_no_other():
    ring, stream = filled([ARRIVALS[0], b"S,1\n", ARRIVALS[1], b"S,2\n"])

    assert ring.since(stream.index(ARRIVALS[1]))[1] == ARRIVALS[1] + b"S,2\n"


def test_the_age_is_that_of_the_oldest_byte_asked_for():
    ring, stream = filled([b"a\n", b"b\n", b"c\n"])

    assert [ring.oldest_after(at) for at in (0, 2, 4)] == [0.0, 0.1, 0.2]
    assert ring.oldest_after(len(stream)) is None


def test_memory_is_bounded_and_a_day_of_reads_takes_no_time():
    ring = Ring(capacity_bytes=10_000)
    for number in range(20_000):
        ring.add(piece(ARRIVALS[number % 20]), now_s=number * 0.1)

    assert ring.end - ring.begin <= 10_000
    assert len(ring._marks) <= 10_000 // 30 + 2  # noqa: SLF001 - that is the point
