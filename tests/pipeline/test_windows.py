"""When a test is on, what the dial is set to, and which samples are kept for it."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.recording import Header, Note
from tensionlog.pipeline.windows import STARTS, Windows, head_answers, intervals
from tensionlog.timeline import FaultSeen, Reading, Timeline

ENDS = tuple(STARTS.values())


def header(purpose: str = "check") -> Header:
    return Header(
        bench="north",
        purpose=purpose,
        started=datetime(2026, 3, 2, 9, tzinfo=UTC),
        rate_hz=80.0,
    )


def notes(*told: tuple[float, str] | tuple[float, str, dict]) -> list[tuple[float, Note]]:
    return [(t[0], Note(t[0], t[1], t[2] if len(t) > 2 else {})) for t in told]


# ------------------------------------------------------------------------------- laws


@given(st.lists(st.sampled_from([*STARTS, *ENDS, "load", "dial"]), max_size=20))
def test_every_start_opens_one_interval_that_ends_after_it_began(names: list[str]):
    timed = notes(*((float(i), name) for i, name in enumerate(names)))
    found = list(intervals(timed))

    assert [i.note.name for i in found] == [name for name in names if name in STARTS]
    for interval in found:
        assert interval.end_s > interval.begin_s
        assert interval.is_ended == (
            interval.end_s < np.inf
            and timed[int(interval.end_s)][1].name == STARTS[interval.note.name]
        )


@given(st.floats(-10.0, 100.0))
def test_a_test_is_on_from_its_start_to_its_end_and_nowhere_else(at_s: float):
    told = notes((10.0, "hold-start"), (40.0, "hold-end"))

    assert Windows(header()).is_test(at_s, told) == (10.0 <= at_s <= 40.0)


# ------------------------------------------------------------------------------- cases


def test_a_test_that_was_not_ended_runs_on_to_the_next_of_its_kind_or_for_ever():
    first, second = intervals(notes((1.0, "check-start"), (5.0, "check-start")))

    assert (first.end_s, first.is_ended) == (5.0, False)
    assert (second.end_s, second.is_ended) == (float("inf"), False)


def test_a_job_keeps_no_samples_until_a_test_begins_in_it():
    windows = Windows(header("job"))
    assert not windows.keeping
    windows.note_seen("redo")
    assert not windows.keeping
    windows.note_seen("hold-start")
    assert windows.keeping


@pytest.mark.parametrize("purpose", ["check", "hold"])
def test_a_check_or_a_hold_test_keeps_samples_from_the_beginning(purpose: str):
    assert Windows(header(purpose)).keeping


def test_the_dial_is_in_force_until_it_ends_or_something_else_begins():
    told = notes(
        (10.0, "dial", {"set_N": 200.0}),
        (30.0, "dial", {"set_N": 250}),
        (50.0, "dial"),
        (60.0, "dial", {"set_N": 220.0}),
        (70.0, "load", {"mass_kg": 5.0}),
    )
    windows = Windows(header())

    dials = {at: windows.dialled(at, told) for at in (5.0, 20.0, 40.0, 55.0, 65.0, 75.0)}

    asked = {at: dial.set_n if dial else None for at, dial in dials.items()}
    assert asked == {5.0: None, 20.0: 200.0, 40.0: 250.0, 55.0: None, 65.0: 220.0, 75.0: None}


def test_a_pull_at_a_dial_setting_is_no_load_of_the_check():
    told = notes((0.0, "check-start"), (20.0, "dial", {"set_N": 200.0}))
    windows = Windows(header())

    assert windows.is_test(10.0, told)
    assert not windows.is_test(30.0, told)


def test_kept_samples_are_given_in_seconds_of_the_recording():
    windows = Windows(header())
    for i in range(4):
        windows.push(Reading(0, i / 80.0, 100.0 + i))
    timeline = Timeline(rate_hz=80.0, adc_bits=24, started_s=0.0)

    t_s, counts, saturated = windows.samples(timeline)

    assert t_s == pytest.approx([0.0, 0.0125, 0.025, 0.0375])
    assert counts == pytest.approx([100.0, 101.0, 102.0, 103.0])
    assert not saturated.any()


def test_where_the_converter_stood_at_its_end_there_is_a_moment_and_no_reading():
    windows = Windows(header())
    windows.push(Reading(0, 0.0, 100.0))
    windows.fault(FaultSeen(0, 0.0125, "saturated"))
    windows.push(Reading(0, 0.025, 101.0))
    timeline = Timeline(rate_hz=80.0, adc_bits=24, started_s=0.0)

    t_s, counts, saturated = windows.samples(timeline)

    assert list(t_s) == [0.0, 0.0125, 0.025]
    assert list(counts) == [100.0, 0.0, 101.0]
    assert list(saturated) == [False, True, False]


def test_before_a_test_began_nothing_is_kept_of_the_converters_end():
    windows = Windows(header("job"))
    windows.fault(FaultSeen(0, 1.0, "saturated"))

    assert windows.saturated == []


def test_only_saturation_is_kept_of_the_faults():
    windows = Windows(header())
    windows.fault(FaultSeen(0, 1.0, "saturated"))
    windows.fault(FaultSeen(0, 2.0, "not-ready"))

    assert [f.t_s for f in windows.saturated] == [1.0]


def test_without_a_dial_there_is_no_head_check():
    assert head_answers([], []) is None
