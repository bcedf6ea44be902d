"""Stretches read together, while samples still come: memory flat, scale known in time."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.pipeline import gather
from tensionlog.pipeline.gather import Gatherer
from tensionlog.sources.recording import open_recording
from tensionlog.twin import Played
from tensionlog.twin.device import sample_line

STARTED = datetime(2026, 3, 2, 9, tzinfo=UTC)
COUNTS_PER_N = 5000.0


def header(**changes: object) -> Header:
    usual = {
        "bench": "north",
        "purpose": "free",
        "started": STARTED,
        "rate_hz": 80.0,
        "adc_bits": 24,
        "calibration": Calibration((0.0, 1.0 / COUNTS_PER_N)),
    }
    return Header(**usual | changes)


def stream(pulls: int, *, seed: int = 1, rate_hz: float = 80.0) -> bytes:
    """So many pulls of 120 N, two seconds each, as the device sends them."""
    rng = np.random.default_rng(seed)
    empty, hold = np.zeros(round(2.5 * rate_hz)), round(2.0 * rate_hz)
    ramp = np.linspace(0.0, 120.0, round(0.5 * rate_hz))
    relaxing = 120.0 * (1.0 - 0.04 * np.log10(1.0 + np.arange(hold) / rate_hz / 0.2))
    one = np.concatenate([empty, ramp, relaxing, np.linspace(relaxing[-1], 0.0, 6)])
    force = np.concatenate([*[one] * pulls, empty])
    force += rng.normal(0.0, 0.05, len(force))
    counts = np.round(force * COUNTS_PER_N).astype(int)
    lines = (
        sample_line(i % 65536, round(i * 1e6 / rate_hz), int(c)) for i, c in enumerate(counts)
    )
    return b"".join(lines)


def gathered(data: bytes, **changes: object) -> Gatherer:
    made = Gatherer(header(**changes))
    made.feed(data)
    made.close()
    return made


@pytest.mark.parametrize("pulls", [0, 1, 5])
def test_every_pull_of_a_stream_is_kept(pulls: int):
    made = gathered(stream(pulls))

    assert len(made.kept()) == made.stretches == pulls


@pytest.mark.parametrize("rate_hz", [10.0, 40.0, 320.0])
def test_the_devices_clock_shows_the_rate_whatever_the_header_says(rate_hz: float):
    for said in (rate_hz, None, 80.0):
        assert len(gathered(stream(2, rate_hz=rate_hz), rate_hz=said).kept()) == 2


def test_without_a_calibration_pulls_are_kept_in_counts():
    made = gathered(stream(3), calibration=None)

    assert not made.calibrated
    assert len(made.kept()) == 3
    assert made.kept()[0].measured.level == pytest.approx(115.0 * COUNTS_PER_N, rel=0.03)


def test_a_stream_too_short_to_guess_a_scale_is_looked_at_when_it_ends():
    lines = stream(1).splitlines(keepends=True)
    made = gathered(b"".join(lines[:150]), calibration=None)

    assert made.kept() == []


def test_pulls_are_read_for_good_when_many_have_gathered(monkeypatch):
    monkeypatch.setattr(gather, "MOST_TOGETHER", 3)
    made = gathered(stream(8))

    assert len(made.kept()) == 8
    starts = [kept.measured.start_t for kept in made.kept()]
    assert starts == sorted(starts)


def test_another_job_is_read_by_itself():
    """The law learned before `job-start` is not mixed with the law after it."""
    made = Gatherer(header())
    lines = stream(10).splitlines(keepends=True)
    half = len(lines) // 2
    made.feed(b"".join(lines[:half]))
    made.note(Note(STARTED.timestamp() + half / 80.0, "job-start", {}))
    made.feed(b"".join(lines[half:]))
    made.close()
    laws = [kept.law for kept in made.kept()]

    assert len(laws) == 10
    assert laws[0] is not laws[-1]
    assert laws[0] is laws[3]


def test_the_pull_that_the_head_holds_can_be_looked_at():
    made = Gatherer(header())
    lines = stream(2).splitlines(keepends=True)
    assert made.under_way() is None
    made.feed(b"".join(lines[: len(lines) // 2 + 330]))

    now = made.under_way()

    assert now.measured.cut
    assert now.measured.level == pytest.approx(115.0, abs=3.0)
    assert len(made.kept()) == 1


def test_traces_are_kept_only_where_they_are_wanted():
    made = Gatherer(header(), keep_traces=False)
    made.feed(stream(1))
    made.close()

    assert made.kept()[0].trace is None


def test_notes_stand_in_the_order_of_their_time(short_job: Played, short_path: Path):
    reader = open_recording(short_path)
    made = Gatherer(reader.header)
    notes = [item for item in reader if isinstance(item, Note)]
    for note in reversed(notes):
        made.note(note)

    times = [at_s for at_s, _ in made.timed_notes()]
    assert times == sorted(times)
