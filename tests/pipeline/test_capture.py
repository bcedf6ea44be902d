"""The reader: bytes before all else; quiet, gone and ended are three different things."""

from collections import deque
from queue import Empty

import pytest

from tensionlog.errors import LinkError
from tensionlog.model.lines import Hello, Sample
from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline import capture as capture_module
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.pipeline.capture import (
    REFUSED_S,
    Capture,
    Gone,
    Heard,
    Quiet,
    Started,
    Stranger,
    StreamEnded,
)
from tensionlog.recorder import Recorder
from tensionlog.sources.recording import open_recording
from tensionlog.sources.serial_port import Ended
from tensionlog.wire import encode

LINE = encode(Sample(0, 0, 1))


class Clock:
    """Seconds that pass when somebody reads a quiet port."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Port:
    """A port that gives what it is told: bytes, an error, or a tenth of a second of quiet."""

    def __init__(self, clock, *script):
        self._clock, self.script = clock, deque(script)
        self.asked = 0
        self.is_open = True

    def read(self) -> bytes:
        step = self.script.popleft() if self.script else b""
        if isinstance(step, Exception):
            raise step
        if not step:
            self._clock.now_s += 0.1
        return step

    def identify(self) -> bool:
        self.asked += 1
        return True

    def close(self) -> None:
        self.is_open = False


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def capturing(tmp_path, clock, monkeypatch):
    """Make a capture of a scripted port; further ports are what opening again gives."""
    monkeypatch.setattr(capture_module, "TRY_EVERY_S", 0.0)
    monkeypatch.setattr(capture_module, "TRY_SLOWLY_S", 0.0)

    def make(port, *others, **changes):
        again = deque(others)

        def reopen():
            if not again:
                clock.now_s += 0.1
                raise LinkError("there is no port")
            return again.popleft()

        header = {"bench": "north", "purpose": "free"}
        return Capture(
            port=port,
            reopen=reopen,
            make_recorder=lambda: Recorder(tmp_path, header, in_background=False),
            clock_s=clock,
            **changes,
        )

    return make


def taken(capture):
    items = []
    while True:
        try:
            items.append(capture.items.get_nowait())
        except Empty:
            return items


def kinds(capture, steps):
    for _ in range(steps):
        capture.step()
    return [type(item) for item in taken(capture) if not isinstance(item, Arrival | bytes)]


def body(path) -> bytes:
    return b"".join(item for item in open_recording(path) if isinstance(item, bytes))


def test_no_file_is_made_before_the_first_byte(capturing, clock, tmp_path):
    capture = capturing(Port(clock))

    capture.step()

    assert capture.recorder is None
    assert list(tmp_path.iterdir()) == []


def test_what_comes_is_in_the_file_when_it_is_given_out(capturing, clock):
    capture = capturing(Port(clock, LINE, LINE))

    capture.step()

    started, arrival, data = taken(capture)
    assert isinstance(started, Started)
    assert isinstance(arrival, Arrival)
    assert data == LINE
    assert body(started.path) == LINE


def test_a_note_acts_at_the_moment_it_was_given(capturing, clock):
    now_s = [1000.0]
    capture = capturing(Port(clock, LINE), utc_s=lambda: now_s[0])
    capture.note({"note": "redo"})
    now_s[0] = 2000.0
    capture.step()

    (note,) = [item for item in taken(capture) if isinstance(item, Note)]
    assert (note.name, note.at_s) == ("redo", 1000.0)


def test_a_note_may_say_its_own_moment(capturing, clock):
    capture = capturing(Port(clock, LINE))
    capture.note({"note": "redo", "at": "2026-03-02T09:00:00Z"})
    capture.step()

    (note,) = [item for item in taken(capture) if isinstance(item, Note)]
    assert note.at_s == 1_772_442_000.0


def test_quiet_is_said_once_after_two_seconds_and_its_end_too(capturing, clock):
    port = Port(clock, LINE, *[b""] * 19)
    capture = capturing(port)
    assert kinds(capture, 20) == [Started]

    assert kinds(capture, 10) == [Quiet]

    port.script.append(LINE)
    assert kinds(capture, 1) == [Heard]


def test_a_port_just_opened_may_be_silent_while_its_board_boots(capturing, clock):
    capture = capturing(Port(clock))

    assert kinds(capture, 28) == []
    assert kinds(capture, 5) == [Quiet]


def test_a_silent_device_is_asked_who_it_is_once_a_second(capturing, clock):
    port = Port(clock)
    kinds(capturing(port), 35)

    assert port.asked == 4


def test_a_device_whose_greeting_was_missed_is_asked_while_it_speaks(capturing, clock):
    """Pyserial empties the buffer as it opens, and the greeting with it."""
    hello = encode(Hello(1, "a1", "fw", 80.0, 24, "1"))
    port = Port(clock, LINE, LINE, hello, *[LINE] * 9)
    capture = capturing(port)
    kinds(capture, 3)
    assert port.asked == 1
    clock.now_s += 2.0
    kinds(capture, 5)
    assert port.asked == 1  # it is known now


def test_a_cable_that_is_pulled_as_the_question_is_asked_is_gone_and_no_end(capturing, clock):
    class Deaf(Port):
        def identify(self) -> bool:
            raise LinkError("lost it.")

    capture = capturing(Deaf(clock), Deaf(clock), Port(clock, LINE), device="a1")

    assert kinds(capture, 1) == [Gone]
    assert kinds(capture, 1) == [Gone]
    assert Heard in kinds(capture, 60)


def test_a_sketch_that_knows_no_question_is_asked_none(capturing, clock):
    port = Port(clock)
    kinds(capturing(port, asks=False), 35)

    assert port.asked == 0


def test_a_lost_port_is_closed_and_opened_again_and_the_recording_goes_on(capturing, clock):
    first, second = Port(clock, LINE, LinkError("lost it")), Port(clock, LINE)
    capture = capturing(first, second)

    assert kinds(capture, 4) == [Started, Gone, Heard]
    assert not first.is_open
    assert body(capture.recorder.path) == LINE + LINE


def test_a_port_that_is_gone_is_tried_for_ever(capturing, clock):
    capture = capturing(Port(clock, LINE, LinkError("lost it")))

    assert kinds(capture, 300) == [Started, Gone]


def test_notes_are_written_while_the_port_is_gone(capturing, clock):
    capture = capturing(Port(clock, LINE, LinkError("lost it")))
    kinds(capture, 2)
    capture.note({"note": "undo"})

    assert kinds(capture, 1) == [Note]


def test_a_port_that_falls_silent_for_long_is_opened_again(capturing, clock):
    first, second = Port(clock, LINE), Port(clock, LINE)
    capture = capturing(first, second)

    assert kinds(capture, 75) == [Started, Quiet, Gone, Heard]
    assert not first.is_open


def test_a_port_opened_again_is_given_its_time_before_it_is_given_up(capturing, clock):
    ports = [Port(clock) for _ in range(3)]
    capture = capturing(Port(clock, LINE), *ports)

    gone = kinds(capture, 140).count(Gone)

    assert gone == 2  # fourteen seconds, six for each


def test_a_stream_that_was_closed_on_purpose_ends_the_recording(capturing, clock):
    port = Port(clock, LINE, Ended("closed by the other side"))
    capture = capturing(port)

    capture.run()

    assert isinstance(taken(capture)[-1], StreamEnded)
    assert not port.is_open


def test_stopping_writes_the_notes_that_wait_and_closes_both(capturing, clock):
    port = Port(clock, LINE)
    capture = capturing(port)
    capture.step()
    capture.note({"note": "job-end"})
    capture.stop()

    capture.run()

    assert not port.is_open
    assert capture.recorder.state().unsafe_bytes == 0
    notes = [i for i in open_recording(capture.recorder.path) if isinstance(i, Note)]
    assert [note.name for note in notes] == ["job-end"]


def test_stopping_before_anything_came_makes_no_file(capturing, clock, tmp_path):
    capture = capturing(Port(clock))
    capture.stop()

    capture.run()

    assert list(tmp_path.iterdir()) == []


# -- who is there --------------------------------------------------------------------------


def hello(device: str) -> bytes:
    return encode(Hello(1, device, "fw", 80.0, 24, "1"))


def test_after_a_loss_the_same_device_goes_on_with_all_it_said(capturing, clock):
    first = Port(clock, hello("ours") + LINE, LinkError("lost it"))
    capture = capturing(first, Port(clock, LINE, hello("ours"), LINE))

    assert kinds(capture, 6) == [Started, Gone, Heard]
    assert body(capture.recorder.path) == hello("ours") + LINE + LINE + hello("ours") + LINE


def test_a_lost_device_is_found_again_under_another_name(capturing, clock):
    elsewhere = Port(clock, LINE, hello("ours"))
    first = Port(clock, hello("ours"), LinkError("lost it"))
    capture = capturing(first, newcomers=lambda: [lambda: elsewhere])

    assert kinds(capture, 8) == [Started, Gone, Heard]
    assert body(capture.recorder.path) == hello("ours") + LINE + hello("ours")


def test_of_another_device_not_one_byte_is_kept(capturing, clock):
    stranger = Port(clock, LINE, hello("theirs"), LINE)
    ours = Port(clock, hello("ours"), LINE)
    first = Port(clock, hello("ours"), LinkError("lost it"))
    capture = capturing(first, stranger, ours)

    told = kinds(capture, 9)
    clock.now_s += REFUSED_S
    told += kinds(capture, 9)

    assert told == [Started, Gone, Stranger, Gone, Heard]
    assert not stranger.is_open
    assert body(capture.recorder.path) == hello("ours") * 2 + LINE


def test_the_bench_may_say_which_device_is_its_own(capturing, clock, tmp_path):
    capture = capturing(Port(clock, LINE, hello("theirs")), device="ours")

    with pytest.raises(LinkError, match="'theirs' answered, this bench's is 'ours'"):
        capture.run()
    assert list(tmp_path.iterdir()) == []


def test_the_bench_page_waits_for_its_own_device_and_takes_no_other(clock, monkeypatch):
    monkeypatch.setattr(capture_module, "TRY_EVERY_S", 0.0)
    ports = [Port(clock, hello("ours"))]
    capture = BenchCapture(
        port=Port(clock, LINE, hello("theirs")),
        reopen=lambda: ports.pop(0),
        device="ours",
        clock_s=clock,
        utc_s=clock,
    )

    told = kinds(capture, 3)
    clock.now_s += REFUSED_S
    told += kinds(capture, 3)

    assert told[:2] == [Stranger, Gone]
    assert ports == []
