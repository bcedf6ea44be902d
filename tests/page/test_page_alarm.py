"""What is told at once begins with the state, in one word or two, and says what to do."""

import pytest

from tensionlog.page.alarm import alarm_texts
from tensionlog.page.scene import scene
from tensionlog.pipeline.alarms import Alarms
from tensionlog.pipeline.capture import Stranger
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.trouble import OffRate, Unsafe

UNSAFE = Unsafe(2.1, "No space left on device", 0)


@pytest.mark.parametrize(
    ("changes", "first", "also"),
    [
        ({"link": "quiet", "link_text": "2"}, "QUIET: ", "for 2 s"),
        ({"link": "gone", "link_text": "lost it."}, "GONE: lost it. ", "opened again"),
        ({"link": "ended", "link_text": "closed."}, "ENDED: closed. ", "start this server"),
        ({"link": "stranger", "stranger": Stranger("b7", "a1")}, "ANOTHER DEVICE: b7 ",
         "not a1. Nothing of it is recorded"),
        ({"trouble": "cannot record into /x."}, "TROUBLE: ", "cannot record into /x."),
        ({"alarms": Alarms(unsafe=UNSAFE)}, "NOT SAFE: ", "No space left on device. Make room"),
        ({"alarms": Alarms(unsafe=UNSAFE._replace(lost_bytes=9))}, "NOT SAFE: ",
         "No space left on device. 9 bytes are lost. Make"),
        ({"alarms": Alarms(senseless=True)}, "NO READING: ", "Check its speed"),
        ({"alarms": Alarms(off_rate=OffRate(99.96, 80.0))}, "RATE: ",
         "100.0 samples/s, the set-up says 80."),
        ({"alarms": Alarms(off_rate=OffRate(1470.0, 80.0))}, "WIRES: ", "do not trust"),
    ],
)  # fmt: skip
def test_each_trouble_begins_with_its_state(words, changes, first, also):
    (text,) = alarm_texts(Now(**({"link": "ok"} | changes)), words)

    assert text.startswith(first)
    assert also in text
    assert "{" not in text


def test_of_several_the_line_comes_first_and_none_is_left_out(words):
    now = Now(link="gone", link_text="x.", trouble="y.", alarms=Alarms(unsafe=UNSAFE))

    told = alarm_texts(now, words)

    assert [text.split(":")[0] for text in told] == ["GONE", "TROUBLE", "NOT SAFE"]
    assert alarm_texts(Now(link="ok"), words) == []


def test_nothing_is_called_safe_that_is_not(words):
    for unsafe in (None, UNSAFE):
        now = Now(link="ok", alarms=Alarms(unsafe=unsafe))
        shown = scene(now, words, unit="N", is_calibrated=True)
        assert shown["unsafe"] is (unsafe is not None)
