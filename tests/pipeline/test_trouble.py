"""Told at once, told once, and told when it is over."""

from pathlib import Path

import pytest

from tensionlog.pipeline.trouble import OffRate, Safe, Troubles, Unsafe, off_rate
from tensionlog.recorder import RecorderState


def state(**changes) -> RecorderState:
    return RecorderState(
        **{
            "path": Path("a.rec"),
            "is_writing": True,
            "unsafe_bytes": 10,
            "unsafe_s": 0.2,
            "lost_bytes": 0,
            "trouble": None,
        }
        | changes
    )


def test_a_disk_that_keeps_up_is_no_news():
    assert Troubles().of_disk(state()) == []


def test_what_waits_for_more_than_two_seconds_is_told_once_and_its_end_too():
    troubles = Troubles()

    assert troubles.of_disk(state(unsafe_s=2.1)) == [Unsafe(2.1, "the disk is slow", 0)]
    assert troubles.of_disk(state(unsafe_s=9.0)) == []
    assert troubles.of_disk(state()) == [Safe("a.rec")]
    assert troubles.of_disk(state()) == []


def test_a_disk_that_failed_is_told_before_two_seconds_are_over():
    told = Troubles().of_disk(state(is_writing=False, trouble="No space left"))

    assert told == [Unsafe(0.2, "No space left", 0)]


def test_what_was_overcome_is_told_no_more():
    assert Troubles().of_disk(state(trouble="Input/output error (a.rec)")) == []


def test_a_loss_is_told_again():
    troubles = Troubles()
    troubles.of_disk(state(is_writing=False, trouble="full"))

    told = troubles.of_disk(state(is_writing=False, trouble="full", lost_bytes=7))

    assert told == [Unsafe(0.2, "full", 7)]


@pytest.mark.parametrize("rate_hz", [92.8, 80.0, 66.0])
def test_a_rate_within_a_fifth_is_as_stated(rate_hz):
    assert off_rate(rate_hz=rate_hz, stated_hz=80.0) is None


@pytest.mark.parametrize(
    ("rate_hz", "is_wiring"), [(10.8, False), (97.0, False), (1470.0, True)]
)
def test_a6_a8_another_rate_is_told_and_one_beyond_any_converter_is_the_wiring(
    rate_hz, is_wiring
):
    troubles = Troubles()
    few = troubles.of_rate(samples=9, rate_hz=rate_hz, stated_hz=80.0)
    (told,) = troubles.of_rate(samples=400, rate_hz=rate_hz, stated_hz=80.0)

    assert few == []
    assert (told, told.is_wiring) == (OffRate(rate_hz, 80.0), is_wiring)
    assert troubles.of_rate(samples=500, rate_hz=rate_hz, stated_hz=80.0) == []


@pytest.mark.parametrize(("rate_hz", "stated_hz"), [(None, 80.0), (80.0, None)])
def test_what_is_not_known_is_not_told(rate_hz, stated_hz):
    assert off_rate(rate_hz=rate_hz, stated_hz=stated_hz) is None
