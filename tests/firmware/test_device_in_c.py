"""What the core of the device says, call by call, read by the host's own decoder."""

from collections.abc import Callable

import pytest

from tensionlog.model.lines import BadLine, Comment, Event, Fault, Hello, Sample
from tensionlog.wire import LineDecoder

pytestmark = pytest.mark.long

START = "start 00A1"
PERIOD_US = 12_500
HELLO = Hello(1, "bench-host", "reference", 80.0, 24, "00A1")


@pytest.fixture
def says(run_tool: Callable[[str, bytes], bytes]):
    """Let a device run through calls; return the lines that it says at the end."""

    def lines(*calls: str, drain: int = 255):
        rows = "".join(f"{call}\n" for call in [START, *calls, f"drain {drain}"])
        return LineDecoder().feed(run_tool("run", rows.encode()))

    return lines


def heard(text: str) -> str:
    return f"heard {text.encode().hex()}"


def conversions(n: int, *, counts: int | None = None, first: int = 0) -> list[str]:
    """Conversions with what they said taken away, so that there is always room."""
    return [
        row
        for i in range(first, first + n)
        for row in (f"converted {i * PERIOD_US} {i if counts is None else counts}", "drain 255")
    ]


def faults(lines) -> list[tuple[int, str]]:
    return [(line.seq, line.fault) for line in lines if isinstance(line, Fault)]


def test_a_start_says_why_and_then_who_before_any_sample(says):
    assert says("converted 9 -5") == [Comment("started: power on"), HELLO, Sample(0, 9, -5)]


def test_it_answers_when_asked_and_passes_over_what_it_does_not_understand(says):
    noise = heard("AT\r\x01?\n" + "x" * 40 + "?\nR,\nZ\n")
    assert says("drain 255", noise, heard("?\r\n")).count(HELLO) == 2


def test_conversions_that_nobody_fetched_leave_a_hole_in_the_numbers(says):
    lines = says("converted 0 1", "missed 3", "converted 50000 2")
    assert [line.seq for line in lines if isinstance(line, Sample)] == [0, 4]


def test_a_line_for_which_there_is_no_room_is_left_out_whole(says):
    lines = says("drain 255", *[f"converted {i} {i}" for i in range(30)])
    taken = [line.seq for line in lines if isinstance(line, Sample)]
    assert taken == list(range(len(taken)))
    assert 5 < len(taken) < 30
    assert not any(isinstance(line, BadLine) for line in lines)


def test_room_is_kept_for_what_no_number_tells(says):
    lines = says("drain 255", *[f"converted {i} {i}" for i in range(30)], "fault 9 brown-out")
    assert faults(lines) == [(29, "brown-out")]


def test_lines_other_than_samples_that_were_lost_are_counted(says):
    lines = says("drain 255", *["fault 9 brown-out"] * 20, "drain 255", "passed 10")
    told = [line for line in lines if isinstance(line, Comment) and "lost" in line.text]
    assert 20 - len(faults(lines)) == int(told[0].text.split(" ")[2])


def test_a_saturated_code_is_told_once_with_its_own_number(says):
    lines = says(
        "converted 0 8388607", "converted 1 8388607", "converted 2 5", "converted 3 -8388608"
    )
    assert faults(lines) == [(0, "saturated"), (3, "saturated")]


def test_two_seconds_at_the_end_of_the_range_are_no_bridge(says):
    lines = says(*conversions(161, counts=8388607))
    assert faults(lines) == [(0, "saturated"), (159, "no-bridge")]


def test_a_converter_that_repeats_its_last_value_is_told_after_a_second(says):
    lines = says(*conversions(3), *conversions(120, counts=-1, first=3))
    assert faults(lines) == [(83, "stuck")]


def test_values_that_change_now_and_then_are_not_stuck(says):
    rows = [r for i in range(5) for r in conversions(79, counts=i, first=79 * i)]
    assert faults(says(*rows)) == []


def test_a_converter_that_is_late_is_told_once_and_again_after_it_came_back(says):
    rows = ["converted 12500 1", "passed 100000", "passed 120000", "passed 900000"]
    back = ["converted 1000000 2", "passed 1050000", "passed 1200000"]
    assert faults(says(*rows, *back)) == [(0, "not-ready"), (1, "not-ready")]


def test_a_fault_that_stands_is_said_again_to_whoever_asks(says):
    lines = says("converted 0 8388607", "drain 255", heard("?\n"))
    assert faults(lines) == [(0, "saturated")] * 2


def test_a_switch_is_timed_by_its_first_edge_and_its_bouncing_left_out(says):
    closed = 1 << 2
    edges = [(1000, closed), (1400, 0), (2100, closed), (9000, 0), (9100, closed)]
    rows = ["switches 0 0", *(f"switches {t} {bits}" for t, bits in edges)]
    lines = says(*rows, "switches 21000 4", "switches 50000 0", "switches 50600 4")
    told = [(line.t_us, line.name) for line in lines if isinstance(line, Event)]
    assert told == [(1000, "shut-A"), (50000, "open-A")]


def test_a_switch_that_opened_while_it_bounced_is_told_when_it_has_settled(says):
    lines = says("switches 0 0", "switches 100 4", "switches 150 0", "switches 20200 0")
    told = [(line.t_us, line.name) for line in lines if isinstance(line, Event)]
    assert told == [(100, "shut-A"), (20200, "open-A")]


def test_a_lever_that_is_shut_at_the_start_is_no_event(says):
    assert not any(
        isinstance(line, Event) for line in says("switches 0 12", "switches 90000 12")
    )


def test_a_rate_that_the_converter_has_is_wanted_and_answered_once_it_runs(run_tool):
    rows = (
        f"{START}\ndrain 255\n{heard('R,10' + chr(10))}\nwanted\nat-rate 10000 5\ndrain 255\n"
    )
    said = run_tool("run", rows.encode()).partition(b"wanted ")[2]
    assert said.startswith(b"10000\nH,1,bench-host,reference,10,24,00A1*")


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ("R,1280\n", "rate refused: it needs bit/s 422400, the line has 115200"),
        ("R,92.8\n", "rate refused: the converter has no such rate"),
        ("R,fast\n", "rate refused: the converter has no such rate"),
        ("R,0\n", "rate refused: the converter has no such rate"),
    ],
)
def test_a_rate_that_cannot_be_is_refused_with_the_reason_and_the_rate_that_holds(
    says, asked, why
):
    lines = says("drain 255", heard(asked))
    assert lines[-2:] == [Comment(why), HELLO]


def test_numbers_wrap_and_events_go_on_pointing_to_the_latest_sample(says):
    lines = says(
        *(["missed 65535"]), "converted 0 1", "drain 255", "converted 9 2", "fault 9 x"
    )
    assert [line.seq for line in lines if isinstance(line, Sample | Fault)] == [65535, 0, 0]


def test_a_fault_after_the_numbers_wrapped_points_to_the_last_number(says):
    assert faults(says("missed 65535", "converted 0 1", "fault 1 x")) == [(65535, "x")]
