"""What must be told now stands until it is over, and no longer."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from tensionlog.pipeline.alarms import Alarms, Lookout, link_change
from tensionlog.pipeline.capture import Gone, Heard, Quiet, Stranger, StreamEnded
from tensionlog.pipeline.trouble import OffRate, Unsafe
from tensionlog.recorder.state import RecorderState

SAFE = RecorderState(
    path="a.rec", is_writing=True, unsafe_bytes=0, unsafe_s=0.0, lost_bytes=0, trouble=None
)
FULL = replace(SAFE, is_writing=False, unsafe_s=0.1, trouble="No space left on device")


class Clock:
    """Stands until it is moved."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def lookout(clock):
    return Lookout(clock)


def quick(*, samples=0, rate_hz=None):
    return SimpleNamespace(
        samples=samples,
        timeline=SimpleNamespace(rate_hz=rate_hz),
        header=SimpleNamespace(rate_hz=80.0),
    )


def recorder(state):
    return SimpleNamespace(state=lambda: state)


def test_a_full_disk_is_told_at_once_and_until_there_is_room(lookout):
    one = quick()

    assert lookout.look(one, recorder(SAFE)) == Alarms()
    for _ in range(3):
        told = lookout.look(one, recorder(FULL))
        assert told.unsafe == Unsafe(0.1, "No space left on device", 0)
    over = replace(SAFE, trouble="No space left on device")  # it says what went wrong last
    assert lookout.look(one, recorder(over)) == Alarms()


def test_a_recording_that_ends_takes_its_trouble_along(lookout):
    assert lookout.look(quick(), recorder(FULL)).unsafe is not None
    assert lookout.look(quick(), None) == Alarms()


def test_another_rate_stands_as_long_as_the_recording(lookout):
    one = quick(samples=400, rate_hz=160.0)
    assert lookout.look(one, None).off_rate == OffRate(160.0, 80.0)
    assert lookout.look(one, None).off_rate == OffRate(160.0, 80.0)
    assert lookout.look(quick(samples=400, rate_hz=80.2), None).off_rate is None


def came(lookout, clock, one, *, seconds, samples_each=0):
    """Bytes come ten times a second."""
    for _ in range(round(10 * seconds)):
        clock.now_s += 0.1
        one.samples += samples_each
        lookout.came(one)
    return lookout.look(one, None).senseless


def test_bytes_that_make_no_sample_are_told_after_their_time_and_forgotten_with_one(
    lookout, clock
):
    one = quick()
    assert not came(lookout, clock, one, seconds=2.0)
    assert came(lookout, clock, one, seconds=1.0)
    assert not came(lookout, clock, one, seconds=0.1, samples_each=1)
    assert not came(lookout, clock, one, seconds=5.0, samples_each=1)
    assert came(lookout, clock, one, seconds=3.0)


def test_boot_text_after_a_silence_is_not_yet_nonsense(lookout, clock):
    one = quick()
    came(lookout, clock, one, seconds=1.0, samples_each=1)
    clock.now_s += 30.0
    assert not came(lookout, clock, one, seconds=0.3)


@pytest.mark.parametrize(
    ("item", "link", "changes"),
    [
        (Quiet(2.4), "ok", {"link": "quiet", "link_text": "2"}),
        (Gone("lost it."), "ok", {"link": "gone", "link_text": "lost it."}),
        (StreamEnded("closed."), "ok", {"link": "ended", "link_text": "closed."}),
        (Heard(1.0), "gone", {"link": "ok", "link_text": ""}),
        (Gone("it is 'x', not 'y'."), "stranger", {}),
        (object(), "ok", {}),
    ],
)
def test_what_is_heard_of_the_line_is_its_state(item, link, changes):
    assert link_change(item, link) == changes


def test_another_device_is_a_state_of_its_own():
    stranger = Stranger("b", "a")
    assert link_change(stranger, "gone") == {"link": "stranger", "stranger": stranger}
