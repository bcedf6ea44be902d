"""A scripted device without a port: the clock is an argument, so nothing here waits."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import Event, Hello, Sample
from tensionlog.twin import play_job
from tensionlog.twin.renumber import Renumber
from tensionlog.twin.script_feed import BOOT_S, SEND_BUFFER_BYTES, ScriptFeed, device_lines
from tensionlog.wire import LineDecoder, decode_line, encode

pytestmark = pytest.mark.long

PLAYED = play_job(seed=1, mains=2, crosses=0, pace=0.0).recording


def feed(**how: object) -> ScriptFeed:
    defaults = {"rate_hz": 80.0, "speed": 1.0, "resets_on_open": True}
    return ScriptFeed(lambda rate_hz: PLAYED, **{**defaults, **how})


def samples(data: bytes) -> list[Sample]:
    return [line for line in LineDecoder().feed(data) if isinstance(line, Sample)]


def test_a_recording_gives_back_what_the_device_said_and_when(said):
    lines = device_lines(PLAYED)

    assert b"".join(line for _, line in lines) == said(PLAYED)
    assert lines[0][0] == 0.0
    assert all(a <= b for (a, _), (b, _) in pairwise(lines))


def test_nothing_is_due_before_the_port_is_opened():
    device = feed()

    assert device.due(100.0, waiting=0).count(b"\nS,") <= 1
    device.opened(100.0)
    assert len(samples(device.due(101.0, waiting=0))) == pytest.approx(80, abs=12)


@given(
    speed=st.floats(1.0, 200.0), cuts=st.lists(st.floats(0.001, 0.2), min_size=1, max_size=20)
)
@settings(max_examples=25, deadline=None)
def test_how_often_one_asks_does_not_matter(speed: float, cuts: list[float]):
    asked, once = feed(speed=speed), feed(speed=speed)
    asked.opened(0.0)
    once.opened(0.0)
    now, pieces = 0.0, []

    for cut in cuts:
        now += cut
        pieces.append(asked.due(now, waiting=0))

    whole = once.due(now, waiting=0)
    if len(whole) < SEND_BUFFER_BYTES - 100:
        assert b"".join(pieces) == whole


def test_a_full_buffer_loses_whole_lines_and_counts_them():
    device = feed()
    device.opened(0.0)

    out = device.due(5.0, waiting=SEND_BUFFER_BYTES - 300)

    assert len(out) <= 300
    assert out.endswith(b"\n")
    assert device.dropped_lines > 300


def test_after_a_reset_it_is_silent_for_a_while_then_says_hello():
    device = feed()
    device.opened(0.0)
    device.due(2.0, waiting=0)
    device.opened(3.0)

    assert device.due(3.0 + BOOT_S - 0.2, waiting=0) == b""
    first, second, *_ = LineDecoder().feed(device.due(3.0 + BOOT_S + 0.5, waiting=0))
    assert isinstance(first, Hello)
    assert second.seq == 0


def test_a_command_may_come_in_pieces():
    device = feed()
    device.opened(0.0)
    device.due(0.0, waiting=0)
    device.told(b"")
    device.told(b"x" * 500)
    device.told(b"\n?")
    device.told(b"\n")

    assert isinstance(decode_line(device.due(0.0, waiting=0)), Hello)


def test_a_recording_without_hello_cannot_be_served():
    bare = b"".join(line + b"\n" for line in PLAYED.split(b"\n") if line[:2] != b"H,")

    with pytest.raises(ValueError, match="hello"):
        ScriptFeed(lambda rate_hz: bare, rate_hz=80.0, speed=1.0, resets_on_open=False)


@given(seq=st.integers(0, 65535), t_us=st.integers(0, 2**32 - 1), gap=st.integers(1, 500))
@settings(max_examples=40, deadline=None)
def test_renumbering_keeps_the_gaps(seq: int, t_us: int, gap: int):
    said = Renumber(boot="B", first_seq=3, first_t_us=9)
    later = Sample((seq + gap) % 65536, (t_us + 12_500 * gap) % 2**32, 7)

    first = decode_line(said(encode(Sample(seq, t_us, -4))))
    second = decode_line(said(encode(later)))

    assert first == Sample(3, 9, -4)
    assert second == Sample(3 + gap, 9 + 12_500 * gap, 7)
    assert said.last == (second.seq, second.t_us)


def test_renumbering_takes_buttons_along_and_leaves_damage_alone():
    said = Renumber(boot="B", first_seq=0, first_t_us=0)
    said(encode(Sample(10, 1000, 5)))

    assert decode_line(said(encode(Event(10, 1500, "redo")))) == Event(0, 500, "redo")
    assert said(b"S,1,2,3*0000\n") == b"S,1,2,3*0000\n"
    assert said(b"junk\n") == b"junk\n"
    assert decode_line(said(encode(Hello(1, "d", "f", 80.0, 24, "A")))).boot == "B"
