"""Where host lines stand: only after an LF, and never waiting for ever."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.recording import Arrival, Note
from tensionlog.recorder.weave import TEAR, Weaver

AT_US = 1_772_442_000_250_000
AT = b"@ 2026-03-02T09:00:00.250000Z\n"
ARRIVED = Arrival(1772442000.25)
LINE = b"S,0,4293999990,84122*E6F7\n"
REDO = {"note": "redo", "at": "2026-03-02T09:00:00.250000Z"}
REDO_LINE = b'! {"at": "2026-03-02T09:00:00.250000Z", "note": "redo"}\n'

chunks = st.one_of(
    st.just(LINE),
    st.just(LINE[:7]),
    st.just(LINE[7:]),
    st.just(b""),
    st.binary(max_size=30),
    st.binary(min_size=90, max_size=250).map(lambda raw: raw.replace(b"\n", b"x")),
)
steps = st.tuples(chunks, st.booleans(), st.sampled_from([0.0, 0.05, 0.6]))


def raws(pieces) -> bytes:
    return b"".join(piece.raw for piece in pieces)


def device_bytes(pieces) -> bytes:
    return b"".join(p.item for p in pieces if isinstance(p.item, bytes) and p.item is not TEAR)


def woven(script) -> tuple[list, bytes, int]:
    """All pieces of a script, what the device sent, and how many notes there were."""
    weaver, now_s, pieces, sent, notes = Weaver(), 0.0, [], b"", 0
    for chunk, has_note, wait_s in script:
        now_s += wait_s
        sent += chunk
        pieces += weaver.received(chunk, at_us=AT_US, now_s=now_s)
        if has_note:
            notes += 1
            pieces += weaver.note({"note": "n", "number": notes}, at_us=AT_US, now_s=now_s)
    return pieces + weaver.finish(), sent, notes


@given(st.lists(steps, max_size=20))
def test_every_byte_of_the_device_is_there_in_order(script):
    pieces, sent, _ = woven(script)
    assert device_bytes(pieces) == sent


@given(st.lists(steps, max_size=20))
def test_host_lines_stand_only_after_an_lf(script):
    before = b"\n"
    for raw, item in woven(script)[0]:
        assert isinstance(item, bytes) or before.endswith(b"\n")
        before = raw


@given(st.lists(steps, max_size=20))
def test_no_note_is_lost_and_their_order_holds(script):
    pieces, _, notes = woven(script)
    numbers = [piece.item.body["number"] for piece in pieces if isinstance(piece.item, Note)]
    assert numbers == list(range(1, notes + 1))


@given(st.lists(steps, max_size=20))
def test_a_piece_is_torn_only_after_a_second_or_96_bytes(script):
    """What stands before `~` is longer than 96 bytes, or a note has waited for a second."""
    waits_s = sum(wait_s for *_, wait_s in script)
    for line in raws(woven(script)[0]).split(b"\n"):
        if line.endswith(b"~") and len(line) <= 96 and not any(c[0] == line for c in script):
            assert waits_s >= 1.0 or any(note for _, note, _ in script)


def test_each_read_has_its_time():
    weaver = Weaver()
    pieces = weaver.received(LINE, at_us=AT_US, now_s=0.0)
    assert [tuple(piece) for piece in pieces] == [(AT, ARRIVED), (LINE, LINE)]
    assert weaver.received(b"", at_us=AT_US, now_s=0.0) == []


def test_a_time_due_in_mid_line_waits_for_the_lf():
    weaver = Weaver()
    weaver.received(LINE[:9], at_us=AT_US, now_s=0.0)
    pieces = weaver.received(LINE[9:] + LINE, at_us=AT_US, now_s=0.1)
    assert raws(pieces) == LINE[9:] + AT + LINE


def test_a_time_that_nothing_follows_is_not_written():
    weaver = Weaver()
    weaver.received(LINE[:9], at_us=AT_US, now_s=0.0)
    assert raws(weaver.received(LINE[9:], at_us=AT_US, now_s=0.1)) == LINE[9:]


def test_a_note_in_mid_line_waits_for_the_lf():
    weaver = Weaver()
    weaver.received(LINE[:9], at_us=AT_US, now_s=0.0)
    assert weaver.note(REDO, at_us=AT_US, now_s=0.1) == []
    pieces = weaver.received(LINE[9:] + b"S", at_us=AT_US, now_s=0.2)
    assert raws(pieces) == LINE[9:] + REDO_LINE + AT + b"S"


def test_a_note_waits_for_a_second_at_most():
    weaver = Weaver()
    weaver.received(b"S,1", at_us=AT_US, now_s=0.0)
    weaver.note(REDO, at_us=AT_US, now_s=5.0)
    assert weaver.received(b"", at_us=AT_US, now_s=5.9) == []
    assert raws(weaver.received(b"", at_us=AT_US, now_s=6.0)) == b"~\n" + REDO_LINE


@pytest.mark.parametrize("size", [1, 7, 95, 96, 97, 98, 300])
def test_a_note_waits_for_96_bytes_at_most(size):
    weaver = Weaver()
    weaver.received(b"S,1", at_us=AT_US, now_s=0.0)
    weaver.note(REDO, at_us=AT_US, now_s=0.0)
    written = b""
    flood = b"x" * 300
    for at in range(0, 300, size):
        written += raws(weaver.received(flood[at : at + size], at_us=AT_US, now_s=0.1))
    assert written.startswith(b"x" * 96 + b"~\n" + REDO_LINE)


@pytest.mark.parametrize("there", [1, 2, 50, 96])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_the_longest_sound_line_is_never_torn(there, end):
    line = b"K" * 96 + end
    weaver = Weaver()
    weaver.received(line[:there], at_us=AT_US, now_s=0.0)
    weaver.note(REDO, at_us=AT_US, now_s=0.0)
    assert (
        raws(weaver.received(line[there:], at_us=AT_US, now_s=0.1)) == line[there:] + REDO_LINE
    )


def test_notes_that_still_wait_close_the_torn_piece_at_the_end():
    weaver = Weaver()
    weaver.received(b"S,1", at_us=AT_US, now_s=0.0)
    weaver.note(REDO, at_us=AT_US, now_s=0.0)
    assert raws(weaver.finish()) == b"~\n" + REDO_LINE
    assert weaver.finish() == []


def test_a_torn_tail_without_notes_stays_as_it_is():
    weaver = Weaver()
    weaver.received(b"S,1", at_us=AT_US, now_s=0.0)
    assert weaver.finish() == []


def test_a_note_gets_the_time_unless_it_has_its_own():
    weaver = Weaver()
    now = weaver.note({"note": "mark"}, at_us=AT_US, now_s=0.0)[0]
    own = weaver.note({"note": "mark", "at": "2026-03-02T08:00:00"}, at_us=AT_US, now_s=0.0)[0]
    assert now.item.at_s == 1772442000.25
    assert own.item.at_s == 1772442000.0 - 3600.0
    assert json.loads(own.raw[2:]) == own.item.body


@pytest.mark.parametrize(
    "body",
    [{}, {"note": 7}, {"note": "x", "at": "noon"}, {"note": "x", "mass_kg": float("nan")}],
)
def test_what_is_no_note_is_refused(body):
    with pytest.raises(ValueError, match=re.compile("note|noon|JSON")):
        Weaver().note(body, at_us=AT_US, now_s=0.0)
