"""Lines as the wire has them, reads as a host makes them, a file as it is pinned."""

import json
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import Event, Hello, Sample
from tensionlog.twin.cell import Cell, Conversion
from tensionlog.twin.device import (
    Device,
    Host,
    chunked,
    recording,
    sample_line,
    say,
    say_plain,
    ticks_us,
)
from tensionlog.twin.rng import stream
from tensionlog.wire import decode_line, encode

RNG = stream(1, "device")
HOST = Host(datetime(2026, 3, 2, 9, tzinfo=UTC))


def conversion(n: int, rate_hz: float = 80.0) -> Conversion:
    return Conversion(np.arange(n) / rate_hz, np.arange(n), np.zeros(n))


def said(n: int = 50, *, events=(), **device: object):
    return say(
        stream(2, "device"),
        device=Device(**device),
        cell=Cell(),
        converted=conversion(n),
        events=events,
    )


@given(
    seq=st.integers(0, 65535),
    t_us=st.integers(0, 2**32 - 1),
    counts=st.integers(-(2**23), 2**23 - 1),
)
@settings(max_examples=40, deadline=None)
def test_the_fast_way_says_what_the_wire_says(seq: int, t_us: int, counts: int):
    assert sample_line(seq, t_us, counts) == encode(Sample(seq, t_us, counts))


def test_the_device_says_who_it_is_first():
    first = decode_line(said(device="twin-7", rate_hz=80.0, boot="A").lines[0])

    assert first == Hello(1, "twin-7", "twin-bench 1", 80.0, 24, "A")


def test_numbers_and_clock_wrap():
    lines = said(20, first_seq=65530, first_t_us=2**32 - 100_000).lines
    samples = [decode_line(line) for line in lines[1:]]

    assert [s.seq for s in samples[4:8]] == [65534, 65535, 0, 1]
    assert min(s.t_us for s in samples) < 1_000_000
    assert max(s.t_us for s in samples) > 4_000_000_000


def test_a_button_carries_the_latest_number_and_its_own_time():
    out = said(50, events=[(0.2, "redo"), (0.4, "mark")], first_seq=100, first_t_us=5_000_000)
    lines = [decode_line(line) for line in out.lines]
    i = next(n for n, line in enumerate(lines) if isinstance(line, Event))

    assert lines[i].name == "redo"
    assert lines[i].seq == lines[i - 1].seq
    assert lines[i].t_us == 5_200_000
    assert len(lines) == 53
    assert np.all(np.diff(out.t_s) >= 0.0)


@given(ppm=st.floats(-5000.0, 5000.0))
@settings(max_examples=40, deadline=None)
def test_the_device_clock_runs_by_its_own_error(ppm: float):
    device = Device(ppm=ppm, jitter_us=0.0)

    ticks = ticks_us(RNG, device=device, t_s=np.array([0.0, 1000.0]))

    assert ticks[1] - ticks[0] == round(device.seconds(1000.0) * 1e6)


def test_another_sketch_says_plain_lines_after_a_word_of_its_own():
    out = say_plain(RNG, t_s=np.array([0.0, 0.1]), forces=np.array([1.234, -0.5]), decimals=2)

    assert out.lines[0] == b"scale ready\r\n"
    assert out.lines[1].startswith(b"w=1.23 t=")
    assert int(out.lines[2].split(b"t=")[1]) - int(out.lines[1].split(b"t=")[1]) == 100


@given(seed=st.integers(0, 500), n=st.integers(2, 200), every=st.floats(0.01, 0.5))
@settings(max_examples=40, deadline=None)
def test_reads_cut_the_stream_without_loss_and_never_before_it_was_said(
    seed: int, n: int, every: float
):
    out = said(n)
    host = HOST._replace(read_every_s=every)

    chunks = chunked(stream(seed, "host"), host=host, said=out)

    assert b"".join(data for _, data in chunks) == b"".join(out.lines)
    assert all(a <= b for (a, _), (b, _) in pairwise(chunks))
    last_said = np.cumsum([data.count(b"\n") for _, data in chunks]) - 1
    assert all(at > out.t_s[i] for (at, _), i in zip(chunks, last_said, strict=True))


def test_a_busy_host_reads_late_and_much_at_once():
    stalled = HOST._replace(stalls_per_min=60.0)

    waits = np.diff([at for at, _ in chunked(stream(3, "host"), host=stalled, said=said(4000))])

    assert waits.max() > 0.25
    assert np.median(waits) < 0.2


def test_the_file_is_as_it_is_pinned():
    data = recording(
        host=HOST,
        header={"bench": "north", "purpose": "free"},
        chunks=[(0.1, b"S,0,0,5*89C3\n"), (0.3, b"S,1,9,5*0000\n")],
        notes=[(0.2, {"note": "job-end"}), (-0.1, {"note": "job-start", "job": {"ref": "é"}})],
    )
    lines = data.split(b"\n")

    assert lines[0] == b"# tensionlog-recording 1"
    assert json.loads(lines[1][2:]) == {"bench": "north", "purpose": "free"}
    assert json.loads(lines[2][2:]) == {
        "at": "2026-03-02T09:00:00.150000Z",
        "note": "job-start",
        "job": {"ref": "é"},
    }
    assert lines[3:5] == [b"@ 2026-03-02T09:00:00.350000Z", b"S,0,0,5*89C3"]
    assert lines[5].startswith(b'! {"at": "2026-03-02T09:00:00.450000Z"')
    assert data.endswith(b"\n")


def test_a_note_after_the_last_read_is_not_lost():
    data = recording(host=HOST, header={}, chunks=[], notes=[(5.0, {"note": "service"})])

    assert data.count(b"\n! ") == 1
