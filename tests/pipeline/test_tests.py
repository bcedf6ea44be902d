"""Checks, hold, turn and stiffness tests inside a recording are found and answered."""

import json
from pathlib import Path
from typing import Any

import pytest

from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.sitting import Whole
from tensionlog.twin import play_check, play_hold, play_stiffness, play_turn

pytestmark = pytest.mark.long


def read(recording: bytes, folder: Path) -> Whole:
    path = folder / "one.rec"
    path.write_bytes(recording)
    return replay(path)


def with_notes(recording: bytes, change) -> bytes:
    """The recording with `change` made to every note, in place; None leaves one out."""
    rows = []
    for row in recording.split(b"\n"):
        if row.startswith(b"! "):
            note = change(json.loads(row[2:]))
            if note is None:
                continue
            row = b"! " + json.dumps(note).encode()
        rows.append(row)
    return b"\n".join(rows)


def without(recording: bytes, name: str) -> bytes:
    return with_notes(recording, lambda n: None if n["note"] == name else n)


def uncalibrated(recording: bytes) -> bytes:
    return recording.replace(b'"calibration"', b'"was"')


@pytest.fixture(scope="module")
def check() -> Any:
    return play_check(seed=2, dials_n=(200.0, 240.0))


@pytest.fixture(scope="module")
def hold() -> Any:
    return play_hold(seed=2)


@pytest.fixture(scope="module")
def turn() -> Any:
    return play_turn(seed=2)


@pytest.fixture(scope="module")
def stiffness() -> Any:
    return play_stiffness(seed=2)


# ---------------------------------------------------------------- found and answered


def test_a_check_and_the_dial_after_it_are_answered(check, tmp_path):
    whole = read(check.recording, tmp_path)
    answer = whole.tests.check

    error_pct = answer["span_error_pct"] - check.truth["span_error_pct"]
    assert abs(error_pct) < 4.0 * answer["u_span_error_pct"] + 0.02
    assert answer["verdict"] in ("good", "adjust", "stop")
    assert [entry["set_N"] for entry in whole.tests.head] == [200.0, 240.0]
    for entry in whole.tests.head:
        assert entry["peak_N"] == pytest.approx(entry["set_N"], rel=0.06)
        assert entry["at_3s_N"] < entry["peak_N"]


def test_neither_masses_nor_the_heads_own_pulls_are_pulls_of_a_job(check, tmp_path):
    assert read(check.recording, tmp_path).found == ()


def test_a_hold_test_is_answered(hold, tmp_path):
    whole = read(hold.recording, tmp_path)

    assert whole.tests.hold["clamp"] == "A"
    assert whole.tests.hold["verdict"] in ("good", "watch", "service")
    assert whole.tests.holds == (whole.tests.hold,)
    assert whole.found == ()
    assert whole.warnings == ()


def test_a_turn_test_is_answered(turn, tmp_path):
    answer = read(turn.recording, tmp_path).tests.turn
    truth = turn.truth["turn"]

    assert answer["phi_rest"] == pytest.approx(truth["phi_rest"], abs=4.0 * answer["u"])
    assert answer["phi_tapped"] == pytest.approx(truth["phi_tapped"], abs=4.0 * answer["u"])


def test_a_stiffness_test_is_answered(stiffness, tmp_path):
    answer = read(stiffness.recording, tmp_path).tests.stiffness

    expected = stiffness.truth["stiffness"]["EA_N"]
    assert answer["EA_N"] == pytest.approx(expected, abs=5.0 * answer["u_EA_N"])


def test_a_job_without_tests_has_no_answers(short_path):
    tests = replay(short_path).tests

    assert (tests.check, tests.hold, tests.turn, tests.stiffness) == (None,) * 4
    assert (tests.holds, tests.problems) == ((), ())


# ------------------------------------------------------------- what cannot be measured


def test_a_stiffness_test_without_a_step_is_one_line_and_no_answer(stiffness, tmp_path):
    whole = read(without(stiffness.recording, "step"), tmp_path)

    assert whole.tests.stiffness is None
    assert whole.warnings == whole.tests.problems
    assert whole.warnings[0].startswith("the stiffness test gives no answer: the anchor was")
    assert "\n" not in whole.warnings[0]


def test_a_hold_test_without_its_hand_off_says_why_it_has_no_numbers(hold, tmp_path):
    answer = read(without(hold.recording, "hand-off"), tmp_path).tests.hold

    assert (answer["held_N"], answer["verdict"]) == (None, None)
    assert any("no hand-off" in str(value) for value in answer.values())


@pytest.mark.parametrize("wrong", [None, "much", True, -200.0])
def test_a_turn_test_needs_what_the_head_pulls(turn, tmp_path, wrong):
    recording = with_notes(turn.recording, lambda n: n | {"head_N": wrong})
    whole = read(recording, tmp_path)

    assert whole.tests.turn is None
    assert "needs what the head pulls" in whole.warnings[-1]


@pytest.mark.parametrize("kind", ["turn", "stiffness"])
def test_without_a_calibration_newtons_cannot_be_told(kind, tmp_path, request):
    played = request.getfixturevalue(kind)
    whole = read(uncalibrated(played.recording), tmp_path)

    assert getattr(whole.tests, kind) is None
    assert "no calibration" in whole.warnings[-1]


def test_a_hold_test_without_a_calibration_is_answered_without_newtons(hold, tmp_path):
    answer = read(uncalibrated(hold.recording), tmp_path).tests.hold

    assert answer is not None
    assert answer["held_N"] is None


@pytest.mark.parametrize(
    ("kind", "name"), [("check", "check"), ("hold", "hold test"), ("turn", "turn test")]
)
def test_a_test_without_readings_is_one_line(kind, name, tmp_path, request):
    played = request.getfixturevalue(kind)
    bare = [r for r in played.recording.split(b"\n") if r[:2] in (b"# ", b"! ")]
    whole = read(b"\n".join([*bare, b""]), tmp_path)

    assert getattr(whole.tests, kind) is None
    assert whole.warnings[-1].startswith(f"the {name} has no readings")


def test_a_check_that_was_not_ended_has_no_verdict(check, tmp_path):
    recording = without(without(check.recording, "check-end"), "dial")

    assert read(recording, tmp_path).tests.check["verdict"] is None


def test_two_hold_tests_in_one_sitting_are_both_answered(hold, tmp_path):
    """The second test's bytes follow the first as another boot of the device would."""
    other = play_hold(seed=3, clamp="B")
    rows = other.recording.split(b"\n")
    body = b"\n".join(row for row in rows if not row.startswith(b"# "))
    later = body.replace(b"T09:", b"T10:")
    whole = read(hold.recording + later, tmp_path)

    assert [answer["clamp"] for answer in whole.tests.holds] == ["A", "B"]
