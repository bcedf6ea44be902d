"""Plain lines in time: by their own clock, or on arrival."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import RecordingError
from tensionlog.model.lines import BadLine, PlainReading
from tensionlog.timeline import Reading, Restart, Timeline

START_S = 1772442000.0


def plain(*, rate_hz: float | None = 10.0, unit: str | None = "N") -> Timeline:
    return Timeline(rate_hz=rate_hz, adc_bits=None, started_s=START_S, is_plain=True, unit=unit)


def values(*numbers: float) -> list:
    return [PlainReading(number, None, None) for number in numbers]


def times_s(events: list) -> list[float]:
    return [event.t_s for event in events if isinstance(event, Reading)]


def arriving(line: Timeline, chunks: list[tuple[float, int]]) -> list[float]:
    events: list = []
    for at_s, n in chunks:
        line.arrived(START_S + at_s)
        events += line.feed(values(*range(n)))
    return times_s(events)


def test_a_line_is_timed_on_arrival():
    assert arriving(plain(), [(1.0, 1), (1.1, 1), (1.35, 1)]) == pytest.approx([0.0, 0.1, 0.35])


def test_the_lines_of_a_chunk_are_spread_over_the_time_since_the_one_before():
    assert arriving(plain(), [(1.0, 1), (1.2, 4)]) == pytest.approx([0.0, 0.05, 0.1, 0.15, 0.2])


def test_they_are_never_spread_wider_than_a_nominal_period_each():
    assert arriving(plain(), [(1.0, 1), (9.0, 2)]) == pytest.approx([0.0, 7.9, 8.0])


def test_without_a_rate_they_fill_the_time_since_the_one_before():
    line = plain(rate_hz=None)
    assert line.rate_hz is None
    assert arriving(line, [(1.0, 1), (2.0, 2)]) == pytest.approx([0.0, 0.5, 1.0])


def test_without_arrivals_they_come_at_the_nominal_rate():
    line = plain()
    assert times_s(line.feed(values(1, 2)) + line.feed(values(3))) == pytest.approx(
        [0, 0.1, 0.2]
    )


def test_with_neither_nobody_knows_when_they_were_taken():
    with pytest.raises(RecordingError, match="nobody knows when"):
        plain(rate_hz=None).feed(values(1.0))


def test_a_hosts_clock_that_is_set_back_does_not_turn_time_back():
    got = arriving(plain(), [(100.0, 2), (100.2, 2), (40.0, 2), (40.2, 2)])
    assert got == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7])


@given(
    st.lists(st.tuples(st.floats(-1.0, 30.0), st.integers(0, 9)), max_size=25),
    st.sampled_from([None, 10.0, 80.0]),
)
def test_whatever_comes_time_never_goes_back_and_every_line_counts(script, rate_hz):
    line, at_s, chunks = plain(rate_hz=rate_hz), 0.0, []
    for wait_s, n in script:
        at_s += wait_s
        chunks.append((at_s, n))
    got = arriving(line, chunks)
    assert got == sorted(got)
    assert len(got) == line.ledger().samples == sum(n for _, n in script)
    assert not got or got[0] == 0.0


def test_a_clock_of_their_own_is_believed():
    line = plain()
    line.arrived(START_S + 5.0)
    lines = [PlainReading(1.0, None, t_ms) for t_ms in (1000.0, 1012.5, 1025.0)]
    assert times_s(line.feed(lines)) == pytest.approx([0.0, 0.0125, 0.025])


def test_a_clock_that_goes_back_is_a_restart():
    lines = [PlainReading(1.0, None, t_ms) for t_ms in (90_000.0, 90_100.0, 20.0, 120.0)]
    events = plain().feed(lines)
    assert events[2] == Restart(1)
    assert [(e.boot, round(e.t_s, 3)) for e in events if isinstance(e, Reading)] == [
        (0, 0.0),
        (0, 0.1),
        (1, 0.0),
        (1, 0.1),
    ]


@pytest.mark.parametrize("span_ms", [2.0**32, 2.0**32 / 1000])
def test_a_clock_that_wraps_is_no_restart(span_ms):
    lines = [PlainReading(1.0, None, t_ms % span_ms) for t_ms in (span_ms - 50, span_ms + 50)]
    assert times_s(plain().feed(lines)) == pytest.approx([0.0, 0.1])


@pytest.mark.parametrize(
    ("unit", "newtons"),
    [
        ("N", 1.0),
        ("kN", 1000.0),
        ("kg", 9.80665),
        ("kgf", 9.80665),
        ("g", 0.00980665),
        ("lb", 4.4482216152605),
        ("LBF", 4.4482216152605),
    ],
)
def test_readings_are_newtons_by_the_headers_unit_or_the_lines(unit, newtons):
    """The kilogram-force and the pound-force by their definitions (1901 and 1959)."""
    by_header = plain(unit=unit)
    assert by_header.carries_newtons
    assert by_header.feed(values(2.0))[0].counts == pytest.approx(2.0 * newtons, rel=1e-12)
    by_line = plain(unit=None)
    assert not by_line.carries_newtons
    event = by_line.feed([PlainReading(2.0, unit, None)])[0]
    assert event.counts == pytest.approx(2.0 * newtons, rel=1e-12)
    assert by_line.carries_newtons


def test_without_a_unit_values_stay_as_they_are():
    assert plain(unit=None).feed(values(84_211.0))[0].counts == 84_211.0


def test_a_unit_nobody_knows_is_refused_in_the_header_and_counted_in_a_line():
    with pytest.raises(RecordingError, match="'stone'"):
        plain(unit="stone")
    line = plain()
    assert line.feed([PlainReading(2.0, "stone", None)]) == []
    assert line.ledger().faults == {"unknown-unit": 1}
    assert (line.ledger().samples, line.ledger().bad_lines) == (0, 1)


def test_what_cannot_be_known_is_not_claimed():
    line = plain()
    line.feed([*values(1.0, 2.0), BadLine(b"ready", "form")])
    assert line.close() == []
    ledger = line.ledger()
    assert ledger.missing is ledger.restarts is None
    assert (ledger.samples, ledger.bad_lines) == (2, 1)
    assert ledger.seconds == pytest.approx(0.1)


def test_a_note_is_placed_where_the_host_says():
    line = plain()
    arriving(line, [(0.5 + 0.1 * n, 1) for n in range(600)])
    assert line.at_device(START_S + 30.5) == (0, pytest.approx(30.0, abs=1e-6))
    assert line.drift_ppm() is not None
