"""A device is known by what it says of itself, however that is cut."""

from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.lines import Hello, Sample
from tensionlog.pipeline.identity import (
    MOST_HELD_BYTES,
    TOLD_WITHIN_S,
    Introduction,
    Stranger,
    Vetting,
)
from tensionlog.wire import encode

SAMPLES = [encode(Sample(n, 12_500 * n, 5)) for n in range(9)]


def hello(device: str) -> bytes:
    return encode(Hello(1, device, "fw", 80.0, 24, "1"))


@given(
    before=st.binary(max_size=40).filter(lambda b: b"H," not in b),
    sizes=st.lists(st.integers(1, 50), min_size=1, max_size=6),
)
def test_the_line_is_found_wherever_the_stream_begins_and_is_cut(before, sizes):
    stream = before + b"\n" + SAMPLES[0] + hello("cell-7") + SAMPLES[1]
    introduction, told, at = Introduction(), [], 0
    while at < len(stream):
        size = sizes[len(told) % len(sizes)]
        told.append(introduction.heard(stream[at : at + size]))
        at += size

    assert [device for device in told if device] == ["cell-7"]


@given(st.lists(st.binary(max_size=300), max_size=8))
def test_nothing_but_a_sound_line_is_an_introduction(chunks):
    introduction = Introduction()

    assert [introduction.heard(chunk.replace(b"*", b"")) for chunk in chunks] == [None] * len(
        chunks
    )


def test_what_is_held_comes_out_whole_once_the_device_is_known():
    vetting = Vetting("cell-7", opened_s=0.0)

    assert vetting.taken(SAMPLES[0], now_s=0.1) is None
    assert vetting.taken(b"", now_s=0.2) is None
    assert vetting.taken(hello("cell-7"), now_s=0.3) == SAMPLES[0] + hello("cell-7")


def test_of_a_stranger_nothing_comes_out():
    vetting = Vetting("cell-7", opened_s=0.0)
    vetting.taken(SAMPLES[0], now_s=0.1)

    assert vetting.taken(hello("cell-8"), now_s=0.2) == Stranger("cell-8", "cell-7")


def test_a_device_that_never_says_who_it_is_is_taken_after_its_time():
    vetting = Vetting("cell-7", opened_s=10.0)

    assert vetting.taken(SAMPLES[0], now_s=10.1) is None
    assert vetting.taken(SAMPLES[1], now_s=10.0 + TOLD_WITHIN_S) == SAMPLES[0] + SAMPLES[1]


def test_a_flood_is_not_held_for_ever():
    vetting = Vetting("cell-7", opened_s=0.0)

    assert len(vetting.taken(b"x" * MOST_HELD_BYTES, now_s=0.1) or b"") == MOST_HELD_BYTES
