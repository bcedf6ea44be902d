"""A hold test and a service in the words of the trade."""

from typing import Any

import pytest

from tensionlog.report.hold_text import effect_lines, hold_lines, standing_lines

HOLD: dict[str, Any] = {
    "clamp": "A", "problem": None, "verdict": "watch", "hand_off_loss_N": 9.123, "u_N": 0.081,
    "loss_pct": 7.6, "give_mm": 1.21, "u_give_mm": 0.064, "flex_mm": 0.5, "u_flex_mm": 0.03,
    "slip_mm": 0.71, "u_slip_mm": 0.05, "creep_N_per_s": 0.002, "u_creep_N_per_s": 0.0041,
    "slips": [{"time_s": 3.21, "size_N": 1.26}], "reasons": ["gives 1.21 mm"],
    "why_no_mm": None,
}  # fmt: skip
EFFECT: dict[str, Any] = {
    "what": "cleaned", "at": "2026-03-20T", "before": 1.4, "after": 0.9, "helped": True,
    "needed": 0, "lasted_days": None, "change": {"low": -0.7, "best": -0.5, "high": -0.3},
}  # fmt: skip


def test_everything_that_a_test_found():
    assert list(hold_lines(HOLD)) == [
        "Clamp A: WATCH: it holds, but look at it again soon.",
        "  lost at the hand-off  9.12 ± 0.08 N, 7.6 %",
        "  gives                 1.21 ± 0.06 mm: flex 0.500 ± 0.030 mm, slip 0.71 ± 0.05 mm",
        "  creeps                0.002 ± 0.004 N/s",
        "  slipped               1.3 N at 3.2 s",
        "  because               gives 1.21 mm",
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"problem": "the string broke"}, "Clamp A: NO ANSWER: the string broke"),
        ({"hand_off_loss_N": None}, "Clamp A: no calibration, so no newtons and no verdict."),
    ],
)
def test_no_answer_is_one_line(changes, said):
    assert list(hold_lines(HOLD | changes)) == [said]


def test_newtons_alone_say_why_there_are_no_millimetres():
    bare = HOLD | {"give_mm": None, "why_no_mm": "no span entered: newtons only"}

    assert "  gives                 no span entered: newtons only" in hold_lines(bare)
    without = HOLD | {"flex_mm": None, "loss_pct": None}
    assert "  gives                 1.21 ± 0.06 mm" in hold_lines(without)


def test_a_clamp_beside_its_history():
    clamp = {"needed": 1, "level_mm": 0.9, "u_level_mm": 0.03, "tests": 12, "alert": None}

    assert list(standing_lines(clamp)) == [
        "  history               1 more test before a change can be told"
    ]
    known = clamp | {"needed": 0, "alert": "2026-03-20-clamp-A"}
    assert list(standing_lines(known)) == [
        "  usually               0.900 ± 0.030 mm over 12 tests",
        "  open alert            2026-03-20-clamp-A",
    ]
    assert list(standing_lines(clamp | {"needed": 0, "level_mm": None})) == []


def test_a_service_that_helped_and_how_long_the_one_before_did():
    before = EFFECT | {"at": "2026-01-10T", "lasted_days": 41.6}

    assert list(effect_lines("B", [before, EFFECT])) == [
        "Clamp B: cleaned on 2026-03-20",
        "  before  1.40 mm,  after  0.90 mm",
        "  change  -0.50 mm (95 % from -0.70 to -0.30): it helped.",
        "  last time (2026-01-10): back at its old level after 42 days.",
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"helped": False}, "it did not help: it gives more than before."),
        ({"helped": None, "needed": 1}, "not told yet, 1 more test would"),
        ({"helped": None, "needed": 3}, "not told yet, 3 more tests would"),
    ],
)
def test_a_change_in_words(changes, said):
    assert list(effect_lines("B", [EFFECT | changes]))[-1].endswith(said)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"before": None}, "No hold test of clamp B before it: nothing to compare with."),
        ({"before": None, "after": None}, "No hold test of clamp B before or after it yet."),
        ({"change": None, "after": None}, "after   not tested yet: make a hold test"),
    ],
)
def test_what_is_missing_is_said(changes, said):
    assert said in list(effect_lines("B", [EFFECT | changes]))[-1]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"helped": False}, "it did not help."),
        ({}, "it was not back at its old level by the next service."),
    ],
)
def test_how_long_the_last_one_lasted(changes, said):
    assert list(effect_lines("B", [EFFECT | changes, EFFECT]))[-1].endswith(said)
