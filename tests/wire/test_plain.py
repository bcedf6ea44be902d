"""Another sketch's plain lines."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import RecordingError
from tensionlog.model.lines import BadLine, PlainReading
from tensionlog.wire import PlainDecoder

NUMBER = r"(?P<value>[-+]?\d+(\.\d+)?)"


def read(pattern: str, stream: bytes) -> list:
    return PlainDecoder(pattern).feed(stream)


@given(st.lists(st.integers(-(10**6), 10**6), max_size=20), st.integers(1, 7))
def test_values_come_through_however_the_stream_is_cut(hundredths, size):
    decoder = PlainDecoder(NUMBER)
    stream = b"".join(b"%.2f\r\n" % (value / 100) for value in hundredths)
    got = [
        x for at in range(0, len(stream), size) for x in decoder.feed(stream[at : at + size])
    ]
    assert [line.value for line in got] == [value / 100 for value in hundredths]
    assert decoder.bytes_in_lines + decoder.pending_bytes == decoder.bytes_fed == len(stream)


def test_clock_and_unit_are_read_where_the_pattern_names_them():
    pattern = r"t=(?P<t_ms>\d+) F=(?P<value>-?[\d.]+) ?(?P<unit>[a-zA-Z]*)"
    assert read(pattern, b"t=1250 F=12.5 kg\nt=1262 F=-0.5\n") == [
        PlainReading(12.5, "kg", 1250.0),
        PlainReading(-0.5, None, 1262.0),
    ]


@pytest.mark.parametrize("raw", [b"ready", b"", b"value: 3", b"\xff\xfe", b"\t"])
def test_a_line_that_does_not_match_from_its_beginning_is_bad(raw):
    assert read(NUMBER, raw + b"\n") == [BadLine(raw, "form")]


@pytest.mark.parametrize(
    ("pattern", "raw"),
    [
        (r"(?P<value>\S+)", b"nan"),
        (r"(?P<value>\S+)", b"inf"),
        (r"(?P<value>\S+)", b"12,5"),
        (r"(?P<value>\d+)?", b"x"),
        (r"(?P<value>\d+) (?P<t_ms>\S+)", b"1 soon"),
    ],
)
def test_what_matches_but_is_no_number_is_bad(pattern, raw):
    assert read(pattern, raw + b"\n") == [BadLine(raw, "form")]


def test_a_line_of_more_than_256_bytes_is_too_long():
    line = read(r"(?P<value>\d)", b"1" + b" " * 256 + b"\n")[0]
    assert line.why == "too-long"
    assert isinstance(read(r"(?P<value>\d)", b"1" + b" " * 255 + b"\r\n")[0], PlainReading)


def test_a_last_line_without_lf_never_counts():
    """Its last digits may be missing, and nothing would show it."""
    decoder = PlainDecoder(NUMBER)
    decoder.feed(b"12.5\n12.")
    assert decoder.close() == []
    assert decoder.pending == b"12."


@pytest.mark.parametrize(
    ("pattern", "says"),
    [("(", "not a regular expression"), ("[", "'['"), (r"\d+", "no group named 'value'")],
)
def test_a_pattern_that_cannot_work_is_refused_in_one_line(pattern, says):
    with pytest.raises(RecordingError, match="pattern") as caught:
        PlainDecoder(pattern)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
