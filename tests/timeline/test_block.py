"""Many samples through the timeline at once: the same as read by read, whatever happens."""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import DeviceLine, Event, Fault, Hello, Sample
from tensionlog.timeline import Reading, Readings, Timeline
from tensionlog.wire import LineDecoder, encode

START_S = 1772442000.0
PERIOD_US = 12_500

Chunk = tuple[float | None, bytes]


def timeline() -> Timeline:
    return Timeline(rate_hz=80.0, adc_bits=24, started_s=START_S)


def read_by_read(chunks: list[Chunk]) -> tuple[list, Timeline]:
    line, decoder = timeline(), LineDecoder()
    events: list = []
    for at_s, data in chunks:
        if at_s is not None:
            line.arrived(at_s)
        if data:
            events += line.feed(decoder.feed(data))
    return events + line.close(), line


def at_once(chunks: list[Chunk], cuts: list[int]) -> tuple[list, Timeline]:
    """Fed in blocks that are cut before the chunks of these numbers."""
    line, decoder = timeline(), LineDecoder()
    events: list = []
    places = sorted({cut % (len(chunks) + 1) for cut in cuts} | {0, len(chunks)})
    for first, last in pairwise(places):
        data, begins, at_s = b"", [], []
        for arrived_s, piece in chunks[first:last]:
            if arrived_s is not None:
                begins.append(len(data))
                at_s.append(arrived_s)
            data += piece
        events += line.feed_columns(decoder.columns(data), begins=begins, at_s=at_s)
    return one_by_one(events + line.close()), line


def one_by_one(events: list) -> list:
    singly: list = []
    for event in events:
        if isinstance(event, Readings):
            boot, t_s, counts = event
            rows = zip(t_s.tolist(), counts.tolist(), strict=True)
            singly += [Reading(boot, *row) for row in rows]
        else:
            singly.append(event)
    return singly


def same(chunks: list[Chunk], cuts: list[int]) -> Timeline:
    events, one = read_by_read(chunks)
    found, many = at_once(chunks, cuts)
    assert found == events
    assert many.ledger() == one.ledger()
    assert many.rate_hz == one.rate_hz
    assert many.now == one.now
    assert many.drift_ppm() == one.drift_ppm()
    assert many.clock_steps() == one.clock_steps()
    for at_s in (START_S, START_S + 3.0, START_S + 40.0):
        assert many.at_device(at_s) == one.at_device(at_s)
    return many


@st.composite
def sittings(draw) -> list[Chunk]:
    """What a device says while much goes wrong, as it came, read by read."""
    rng = random.Random(draw(st.integers(0, 999)))
    seq, t_us = draw(st.integers(0, 65535)), draw(st.integers(0, 2**32 - 1))
    at_s, period_us = START_S, draw(st.sampled_from([PERIOD_US, 781, 100_000, 400_000]))
    has_arrivals = draw(st.booleans())
    chunks: list[Chunk] = []
    last: list[bytes] = []
    for _ in range(draw(st.integers(1, 10))):
        what = draw(
            st.sampled_from(
                ["run"] * 6
                + "gap copies restart hello saturated event fault noise rest "
                "clock-set silence burst torn".split()
            )
        )
        lines: list[DeviceLine] = []
        raw: list[bytes] = []
        n = draw(st.integers(1, 90)) if what != "burst" else 400
        if what == "gap":
            lost = draw(st.integers(1, 400))
            seq, t_us = (seq + lost) % 65536, (t_us + lost * period_us) % 2**32
        if what == "copies":
            raw = last[-draw(st.integers(1, 30)) :]
        if what == "restart":
            seq, t_us = draw(st.integers(0, 30)), draw(st.integers(0, 2_000_000))
        if what == "hello":
            bits = draw(st.sampled_from([17, 24]))
            lines.append(Hello(1, "cell", "1", 80.0, bits, draw(st.sampled_from("ab"))))
        if what == "event":
            lines.append(Event(seq, t_us, "redo"))
        if what == "fault":
            lines.append(Fault(seq, t_us, "saturated"))
        if what == "noise":
            raw = [draw(st.binary(max_size=30)) + b"\n"]
        if what == "rest":
            t_us = (t_us + 3_000_000) % 2**32
        if what == "clock-set":
            at_s += draw(st.sampled_from([-100.0, 3600.0]))
        if what == "silence":
            lost_s = draw(st.sampled_from([20, 40, 400]))
            at_s += lost_s
            lost = lost_s * 10**6 // period_us
            seq, t_us = (seq + lost) % 65536, (t_us + lost * period_us) % 2**32
        for i in range(n):
            top = 2**23 - 1
            counts = top if what == "saturated" and i % 7 == 0 else 70_000 + i * 7919 % 1000
            lines.append(Sample(seq, t_us, counts))
            seq = (seq + 1) % 65536
            t_us = (t_us + period_us + rng.choice([0, 0, 0, 3])) % 2**32
        raw += [encode(line) for line in lines]
        last = raw
        size = draw(st.integers(1, 40))
        if what == "burst":
            size = 400
        for begin in range(0, len(raw), size):
            part = raw[begin : begin + size]
            at_s += len(part) * period_us / 1e6 + rng.choice([0.0, 0.004, 0.2])
            chunks.append((at_s if has_arrivals else None, b"".join(part)))
        if what == "torn":
            at, tail = chunks[-1]
            chunks[-1] = (at, tail[:-9])
            chunks.append((at_s if has_arrivals else None, tail[-9:]))
    return chunks


@given(sittings(), st.lists(st.integers(0, 200), max_size=5))
@settings(max_examples=40)
def test_a_block_gives_what_its_reads_give_one_by_one(chunks, cuts):
    same(chunks, cuts)


def run_of(n: int, *, seq: int = 0, every: int = 1) -> list[bytes]:
    return [
        encode(Sample((seq + i) % 65536, (seq + i) * PERIOD_US % 2**32, 80_000 + i % 50))
        for i in range(0, n * every, every)
    ]


@pytest.mark.parametrize("size", [1, 8, 200, 5000])
@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_long_run_with_and_without_losses(size, lost):
    """Samples of a minute and more, every fiftieth one lost or garbled."""
    raw = run_of(5000, seq=65_000)
    for at in range(25, 5000, 50):
        raw[at] = [raw[at], b"", raw[at].replace(b"S", b"\xd3")][lost]
    chunks: list[Chunk] = []
    for at in range(0, 5000, size):
        late_s = (at * 7919 % 100) / 1000.0
        data = b"".join(raw[at : at + size])
        chunks.append((START_S + min(at + size, 5000) * PERIOD_US / 1e6 + late_s, data))
    line = same(chunks, [3, 40, 41])
    assert line.ledger().samples == (5000 if not lost else 4900)
    assert line.ledger().missing == (0 if not lost else 100)


def test_a_burst_of_half_a_minute_among_small_reads_is_tied_by_its_first_sample():
    """What was read before it was 20 s late, so the host saw no silence."""
    raw = run_of(8000)
    places = [*range(0, 2401, 8), *range(5200, 8001, 8)]
    chunks: list[Chunk] = [
        (START_S + b * PERIOD_US / 1e6 + (20.0 if b < 2401 else 0.03), b"".join(raw[a:b]))
        for a, b in pairwise(places)
    ]
    same(chunks, [])


def test_where_nothing_but_arrivals_came_they_are_still_told():
    line = timeline()
    line.feed_columns(LineDecoder().columns(b""), begins=[0, 0], at_s=[START_S, START_S + 1.0])
    line.feed_columns(LineDecoder().columns(run_of(1)[0]), begins=[], at_s=[])
    assert line.at_device(START_S + 1.5) == (0, pytest.approx(0.5))
