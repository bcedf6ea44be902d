"""The pinned wire in time: losses counted, nothing invented, wraps no restarts."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.lines import (
    BadLine,
    Comment,
    DeviceLine,
    Event,
    Fault,
    Hello,
    Sample,
    UnknownLine,
)
from tensionlog.timeline import FaultSeen, Gap, Marked, Reading, Restart, Timeline

PERIOD_US = 12_500
START_S = 1772442000.0


def run_of(n: int, *, seq: int = 0, t_us: int = 0, period_us: int = PERIOD_US) -> list[Sample]:
    """`n` conversions in a row as the device numbers and times them, counts all different."""
    return [
        Sample((seq + i) % 65536, (t_us + i * period_us) % 2**32, 84_000 + i * 7919 % 1000)
        for i in range(n)
    ]


def hello(boot: str, *, device: str = "cell", rate_hz: float = 80.0, bits: int = 24) -> Hello:
    return Hello(1, device, "0.1", rate_hz, bits, boot)


def timeline(*, rate_hz: float | None = 80.0, adc_bits: int | None = 24) -> Timeline:
    return Timeline(rate_hz=rate_hz, adc_bits=adc_bits, started_s=START_S)


def played(lines: list[DeviceLine], **options) -> tuple[list, Timeline]:
    """All events of lines that no arrival time goes with."""
    line = timeline(**options)
    events = line.feed(lines)
    return events + line.close(), line


def arriving(line: Timeline, chunks: list[tuple[float, list[DeviceLine]]]) -> list:
    """All events of chunks, each with its arrival in seconds from the start."""
    events: list = []
    for at_s, lines in chunks:
        line.arrived(START_S + at_s)
        events += line.feed(lines)
    return events + line.close()


def readings(events: list) -> list[Reading]:
    return [event for event in events if isinstance(event, Reading)]


starts = st.tuples(
    st.one_of(st.integers(0, 65535), st.integers(65400, 65535)),
    st.one_of(st.integers(0, 2**32 - 1), st.integers(2**32 - 2_000_000, 2**32 - 1)),
)
kept_of_300 = st.sets(st.integers(0, 299), min_size=20)


@given(starts, kept_of_300)
def test_wherever_number_and_clock_wrap_losses_are_exact(start, kept):
    """Samples ⊎ missing = the device's own range, and every sample at its own time."""
    sent = run_of(300, seq=start[0], t_us=start[1])
    received = [sample for i, sample in enumerate(sent) if i in kept]
    events, line = played(received)
    ledger, first = line.ledger(), min(kept)
    assert ledger.samples == len(kept)
    assert ledger.missing == max(kept) - first + 1 - len(kept)
    assert (ledger.restarts, ledger.duplicates, ledger.bad_lines) == (0, 0, 0)
    assert readings(events) == [
        (0, (i - first) * PERIOD_US / 1e6, sent[i].counts) for i in sorted(kept)
    ]
    assert ledger.seconds == (max(kept) - first) * PERIOD_US / 1e6


@given(starts, kept_of_300, st.lists(st.integers(1, 40), min_size=1, max_size=12))
def test_in_what_portions_lines_come_does_not_matter(start, kept, portions):
    received = [s for i, s in enumerate(run_of(300, seq=start[0], t_us=start[1])) if i in kept]
    whole, one = played([*received, hello("1"), *received[-2:]])
    line, events = timeline(), []
    rest = [*received, hello("1"), *received[-2:]]
    while rest:
        for portion in portions:
            events += line.feed(rest[:portion])
            rest = rest[portion:]
    assert events + line.close() == whole
    assert line.ledger() == one.ledger()


@given(starts, kept_of_300)
def test_gaps_are_told_where_they_are(start, kept):
    sent = run_of(300, seq=start[0], t_us=start[1])
    events, line = played([sent[i] for i in sorted(kept)])
    gaps = [event for event in events if isinstance(event, Gap)]
    expected = [(a, b) for a, b in pairwise(sorted(kept)) if b - a > 1]
    assert [round((gap.before_s - gap.after_s) / 0.0125) - 1 for gap in gaps] == [
        gap.missing for gap in gaps
    ]
    assert [gap.missing for gap in gaps] == [b - a - 1 for a, b in expected]
    assert sum(gap.missing for gap in gaps) == line.ledger().missing


@given(
    starts,
    st.lists(st.floats(0.1, 20_000.0), min_size=1, max_size=4),
    st.sampled_from([10.0, 80.0, 320.0, 1000.0]),
    st.floats(-0.03, 0.03),
)
def test_silences_longer_than_any_wrap_are_told_by_the_hosts_clock(
    start, silences, rate, drift
):
    """Up to five and a half hours, with a device's clock that is off by up to 3 %."""
    line = timeline(rate_hz=rate)
    period_us = round(1e6 / rate)
    at, chunks, missing = 0, [], 0
    for silence_s in [0.0, *silences]:
        lost = int(silence_s * rate)
        missing += lost
        at += lost
        lines = [
            Sample((start[0] + n) % 65536, (start[1] + n * period_us) % 2**32, n % 999)
            for n in range(at, at + 200)
        ]
        at += 200
        chunks.append(((at * period_us / 1e6) / (1.0 + drift) + 0.02, lines))
    events = arriving(line, chunks)
    assert line.ledger().missing == missing
    assert line.ledger().restarts == 0
    assert readings(events)[-1].t_s == pytest.approx((at - 1) * period_us / 1e6)


@pytest.mark.parametrize("rate_hz", [None, 80.0, 10.0, 1000.0])
@pytest.mark.parametrize("true_hz", [10, 80, 93, 320])
def test_a_header_that_is_wrong_about_the_rate_harms_nothing(rate_hz, true_hz):
    sent = run_of(400, t_us=2**32 - 10**7, period_us=round(1e6 / true_hz))
    received = sent[:3] + sent[7:200] + sent[260:]
    events, line = played(received, rate_hz=rate_hz)
    assert line.ledger().missing == 4 + 60
    assert len(readings(events)) == len(received)
    assert line.rate_hz == pytest.approx(true_hz, rel=1e-3)


def test_both_wrapping_at_once_is_no_restart():
    events, line = played(run_of(100, seq=65_500, t_us=2**32 - 35 * PERIOD_US))
    assert line.ledger().restarts == line.ledger().missing == 0
    assert len(readings(events)) == 100


def test_both_wrapping_inside_a_gap_is_no_restart():
    sent = run_of(200, seq=65_450, t_us=2**32 - 85 * PERIOD_US)
    _, line = played(sent[:60] + sent[120:])
    assert (line.ledger().restarts, line.ledger().missing) == (0, 60)


@given(st.integers(20, 400), st.integers(0, 30), st.integers(0, 2_000_000))
def test_number_and_clock_going_back_are_a_restart_without_any_word(before, seq, t_us):
    first = run_of(before, seq=1000, t_us=50_000_000)
    second = run_of(50, seq=seq, t_us=t_us)
    events, line = played(first + second)
    assert line.ledger().restarts == 1
    assert line.ledger().missing == 0
    assert line.ledger().samples == before + 50
    assert events[before] == Restart(1)
    assert [r.t_s for r in readings(events) if r.boot == 1] == [
        i * PERIOD_US / 1e6 for i in range(50)
    ]


H1, H2, H3 = hello("1"), hello("2"), hello("3")
OLD = run_of(300, seq=500, t_us=9_000_000)
NEW = run_of(200)


@pytest.mark.parametrize(
    ("lines", "restarts"),
    [
        ([H1, *OLD, H2, *NEW], 1),
        ([H1, *OLD, *NEW], 1),
        ([H1, *OLD, BadLine(b"H", "crc"), *NEW, H2, *run_of(20, seq=200, t_us=2_500_000)], 1),
        ([H1, *OLD, NEW[0], H2, *NEW[1:]], 1),
        ([H1, *OLD, *NEW[:5], H2, *NEW[5:]], 1),
        ([*OLD, H1, *run_of(9, seq=800, t_us=12_750_000)], 0),
        ([H1, *OLD, H1, H1, *run_of(9, seq=800, t_us=12_750_000)], 0),
        ([*OLD, H2, *NEW], 1),
        ([H1, H2, *NEW], 1),
        ([H1, *OLD, H2, H3, *NEW], 2),
        ([H1, *OLD, H2, *NEW, H3, *NEW], 2),
        ([H1, *OLD, *NEW, H2, *run_of(9, seq=200, t_us=2_500_000), H3, *NEW], 2),
        ([H1, *OLD, hello("1", device="other"), *NEW], 1),
        ([H1, *OLD, H2], 1),
        ([H1, *OLD, NEW[0]], 1),
    ],
)
def test_each_restart_counts_once_whether_its_identity_comes_early_late_or_never(
    lines, restarts
):
    events, line = played(lines)
    assert line.ledger().restarts == restarts
    assert [e.boot for e in events if isinstance(e, Restart)] == list(range(1, restarts + 1))
    assert len(readings(events)) == sum(isinstance(x, Sample) for x in lines)


def test_a_restart_after_which_the_numbers_would_fit_is_told_by_the_identity():
    """The new start's first samples were lost, and what comes looks like the old one's."""
    more = run_of(50, seq=800, t_us=9_000_000 + 300 * PERIOD_US)
    events, line = played([H1, *OLD, H2, *more])
    assert line.ledger().restarts == 1
    assert line.ledger().missing == 0
    assert readings(events)[300] == (1, 0.0, more[0].counts)


def test_a_restart_on_a_running_host_is_told_even_where_a_wrap_could_explain_it():
    """10 s before the clock's wrap; the device is back within two seconds."""
    line = timeline()
    old = run_of(800, seq=65_000, t_us=2**32 - 20_000_000)
    arriving(line, [(10.0, old), (12.5, run_of(40))])
    assert line.ledger().restarts == 1


@given(st.data(), starts)
def test_copies_are_left_out_and_counted(data, start):
    sent = run_of(200, seq=start[0], t_us=start[1])
    at = data.draw(st.integers(30, 199))
    back = data.draw(st.integers(1, 25))
    events, line = played(sent[:at] + sent[at - back : at] + sent[at:])
    assert line.ledger().duplicates == back
    assert line.ledger().samples == 200
    assert (line.ledger().missing, line.ledger().restarts) == (0, 0)
    assert len({r.t_s for r in readings(events)}) == 200


@given(
    st.integers(0, 65535),
    st.integers(0, 2**32 - 1),
    st.integers(-(2**23) + 2, 2**23 - 2),
    st.integers(20, 180),
    starts,
)
def test_damage_whose_checksum_holds_by_chance_is_no_reading(seq, t_us, counts, at, start):
    """One line with any number and any clock in the middle of a clean run."""
    sent = run_of(200, seq=start[0], t_us=start[1])
    last = sent[at - 1]
    seq_up, us_up = (seq - last.seq) % 65536, (t_us - last.t_us) % 2**32
    fits = seq_up <= 1 or abs(seq_up * PERIOD_US - us_up) < max(60_000, us_up // 300)
    line = timeline()
    events = arriving(line, [(3.0, [*sent[:at], Sample(seq, t_us, counts), *sent[at:]])])
    if not fits:
        assert readings(events) == readings(played(sent)[0])
        assert line.ledger().bad_lines == 1
        assert line.ledger().samples == 200
        assert (line.ledger().missing, line.ledger().restarts) == (0, 0)


def test_of_two_lines_for_one_moment_the_first_holds_and_the_other_is_damage():
    sent = run_of(9)
    events, line = played([*sent[:5], sent[4]._replace(counts=9999), *sent[5:]])

    assert readings(events) == readings(played(sent)[0])
    assert (line.ledger().bad_lines, line.ledger().samples) == (1, 9)
    assert line.ledger().faults == {}


def test_a_first_sample_of_a_new_start_that_comes_twice_is_one():
    events, line = played([*OLD, NEW[0], NEW[0], *NEW[1:]])
    assert (line.ledger().restarts, line.ledger().duplicates) == (1, 1)
    assert len(readings(events)) == len(OLD) + len(NEW)


@pytest.mark.parametrize("silent_s", [59, 100, 1000, 4200])
def test_a_long_silence_without_arrival_times_is_believed_with_the_next_sample(silent_s):
    """Number and clock agree, and the sample after goes on from there."""
    lost = silent_s * 80
    sent = run_of(300) + run_of(50, seq=300 + lost, t_us=(300 + lost) * PERIOD_US)
    _, line = played(sent)
    assert line.ledger().missing == lost
    assert (line.ledger().restarts, line.ledger().bad_lines) == (0, 0)


def test_two_such_lines_in_a_row_are_no_readings_either():
    sent = run_of(100)
    wild = [Sample(40_000, 3_000_000_000, 1), Sample(9_000, 77, 2)]
    events, line = played(sent[:50] + wild + sent[50:])
    assert readings(events) == readings(played(sent)[0])
    assert line.ledger().bad_lines == 2


def test_a_jump_of_the_number_alone_is_a_gap_once_the_next_sample_agrees():
    """The clock says one period, the number says a hundred: the number counts losses."""
    sent = run_of(50) + run_of(50, seq=150, t_us=50 * PERIOD_US)
    events, line = played(sent)
    assert (line.ledger().missing, line.ledger().restarts) == (100, 0)
    assert len(readings(events)) == 100


def test_a_number_that_goes_back_alone_is_a_fault_and_no_restart():
    sent = run_of(50, seq=500) + run_of(50, seq=200, t_us=50 * PERIOD_US)
    events, line = played(sent)
    assert line.ledger().faults == {"seq-jump": 1}
    assert (line.ledger().missing, line.ledger().restarts) == (0, 0)
    assert readings(events)[-1].t_s == pytest.approx(99 * 0.0125)


@pytest.mark.parametrize("back_us", [1, 53_000, 2_000_000])
def test_a_clock_that_goes_back_alone_is_a_fault_and_time_goes_on(back_us):
    sent = run_of(300) + run_of(50, seq=300, t_us=300 * PERIOD_US - PERIOD_US - back_us)
    events, line = played(sent)
    assert line.ledger().faults == {"clock-jump": 1}
    assert (line.ledger().missing, line.ledger().restarts) == (0, 0)
    times_s = [reading.t_s for reading in readings(events)]
    assert times_s == pytest.approx([i * 0.0125 for i in range(350)])


def test_a_converter_that_rests_loses_nothing():
    """The clock goes on for 3 s and the number does not: no conversion was taken."""
    sent = run_of(50) + run_of(50, seq=50, t_us=50 * PERIOD_US + 3_000_000)
    for chunks in ([(9.0, sent)], [(0.7, sent[:50]), (4.4, sent[50:])]):
        line = timeline()
        events = arriving(line, chunks)
        assert (line.ledger().missing, line.ledger().restarts) == (0, 0)
        assert readings(events)[-1].t_s == pytest.approx(99 * 0.0125 + 3.0)


@pytest.mark.parametrize("counts", [8388607, 8388606 + 1, -8388608, -8388607])
def test_a_code_at_the_end_of_the_scale_is_a_fault_and_no_reading(counts):
    sent = run_of(30)
    sent[10] = sent[10]._replace(counts=counts)
    events, line = played(sent)
    assert events[10] == FaultSeen(0, 0.125, "saturated")
    assert len(readings(events)) == 29
    assert line.ledger().faults == {"saturated": 1}
    assert line.ledger().samples == 30
    assert line.ledger().missing == 0


@pytest.mark.parametrize("at_once", [1, 7, 64, 1000])
def test_without_arrivals_the_next_start_begins_a_stated_period_on_however_it_is_read(at_once):
    """Exact to the last bit: a replay in other blocks must give the same database."""
    sent = [hello("1"), *run_of(300, period_us=12_519), hello("2"), *run_of(90, t_us=77)]
    line = timeline()
    for at in range(0, len(sent), at_once):
        line.feed(sent[at : at + at_once])

    assert line.seconds(1, 0.0) == 3_743_181 / 1e6 + 1.0 / 80.0


def test_a_converter_wider_than_any_is_not_believed():
    """2 to the power of what a damaged or foreign device says would fill the memory."""
    events, line = played([hello("1", bits=4_261_649_837), Sample(0, 0, (1 << 23) - 1)])

    assert readings(events) == []
    assert line.ledger().faults == {"saturated": 1}


def test_what_the_device_says_of_its_converter_overrides_the_header():
    sent = [hello("1", bits=16), Sample(0, 0, 32767), Sample(1, 12500, 32766)]
    events, _ = played(sent)
    assert events == [FaultSeen(0, 0.0, "saturated"), Reading(0, 0.0125, 32766)]
    unknown, _ = played([Sample(0, 0, 2**31 - 1)], adc_bits=None)
    assert unknown == [Reading(0, 0.0, 2**31 - 1)]


SATURATED = Sample(5, 5 * PERIOD_US, 8388607)
SAYS_SO = Fault(5, 5 * PERIOD_US + 100, "saturated")


@pytest.mark.parametrize(
    ("lines", "count"),
    [
        ([*run_of(5), SATURATED, SAYS_SO, *run_of(9, seq=6, t_us=75_000)], 1),
        ([*run_of(5), SAYS_SO, SATURATED, *run_of(9, seq=6, t_us=75_000)], 1),
        ([*run_of(5), SAYS_SO, *run_of(9, seq=6, t_us=75_000)], 1),
        ([*run_of(5), SATURATED, *run_of(1, seq=6, t_us=75_000), SAYS_SO._replace(seq=6)], 2),
        ([*run_of(5), SATURATED, SATURATED._replace(seq=6, t_us=75_000)], 2),
    ],
)
def test_saturation_said_twice_of_one_sample_counts_once(lines, count):
    events, line = played(lines)
    assert line.ledger().faults == {"saturated": count}
    assert sum(isinstance(event, FaultSeen) for event in events) == count


def test_faults_of_the_device_are_counted_by_name_and_placed():
    lines = [*run_of(5), Fault(4, 51_000, "not-ready"), Fault(4, 52_000, "brown-out")]
    events, line = played(lines)
    assert events[5:] == [FaultSeen(0, 0.051, "not-ready"), FaultSeen(0, 0.052, "brown-out")]
    assert line.ledger().faults == {"not-ready": 1, "brown-out": 1}


def marks(events: list) -> list[Marked]:
    return [event for event in events if isinstance(event, Marked)]


def test_a_button_is_placed_by_its_own_clock_across_the_wrap():
    sent = run_of(20, t_us=2**32 - 10 * PERIOD_US)
    events, _ = played([*sent[:10], Event(9, 3_000, "redo"), *sent[10:]])
    assert marks(events) == [Marked(0, pytest.approx(0.128), "redo")]


def test_a_button_before_the_first_sample_has_a_negative_time():
    events, _ = played([Event(0, 99_000, "mark"), *run_of(3, t_us=100_000)])
    assert events[0] == Marked(0, -0.001, "mark")


def test_a_button_after_a_restart_belongs_to_the_new_start():
    lines = [*OLD, Event(0, 400, "shut-A"), *run_of(20, t_us=500)]
    events, _ = played(lines)
    assert marks(events) == [Marked(1, -0.0001, "shut-A")]
    assert events.index(Restart(1)) < events.index(marks(events)[0])


def test_a_button_after_lost_samples_is_placed_without_waiting():
    line = timeline()
    line.feed(list(run_of(20)))
    assert line.feed([Event(39, 39 * PERIOD_US + 5, "next")]) == [
        Marked(0, pytest.approx(0.487505), "next")
    ]


def test_a_button_that_fits_nothing_is_placed_with_the_next_sample_or_the_last():
    odd = Event(40_000, 2_000_000_000, "mark")
    assert marks(played([*run_of(5), odd, *run_of(5, seq=5, t_us=62_500)])[0]) == [
        (0, 0.0625, "mark")
    ]
    assert marks(played([*run_of(5), odd])[0]) == [(0, 0.05, "mark")]
    assert marks(played([odd])[0]) == [(0, 0.0, "mark")]


def test_other_lines_are_counted_or_passed_over():
    lines = [
        *run_of(3),
        BadLine(b"x", "form"),
        Comment("hi"),
        UnknownLine(b"T"),
        BadLine(b"", "crc"),
    ]
    events, line = played([*lines, *run_of(3, seq=3, t_us=3 * PERIOD_US)])
    assert line.ledger().bad_lines == 2
    assert len(events) == 6


def test_nothing_at_all_is_an_empty_ledger():
    events, line = played([])
    assert events == []
    ledger = line.ledger()
    assert (ledger.samples, ledger.seconds, ledger.missing, ledger.restarts) == (0, 0.0, 0, 0)


def test_losses_around_a_restart_cannot_be_counted():
    """Missing is counted from the first to the last sample of each start."""
    _, line = played([H1, *OLD[:100], *OLD[110:200], H2, *NEW[50:70], *NEW[75:]])
    assert line.ledger().missing == 10 + 5


def test_ten_wraps_of_the_clock_in_a_row():
    """A whole day at 10/s, every sample there: no error at all."""
    sent = run_of(864_000 // 20, period_us=2_000_000)
    events, line = played(sent, rate_hz=0.5)
    assert line.ledger().seconds == (len(sent) - 1) * 2.0
    assert line.ledger().restarts == line.ledger().missing == 0
    assert len(events) == len(sent)
