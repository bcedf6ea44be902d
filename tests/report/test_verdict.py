"""The line at the top, in the cases that a stringer meets."""

from dataclasses import replace

import pytest

from tensionlog.report.verdict import common_sentence, reasons, sentence, verdict_info


def said(view):
    return sentence(verdict_info(view))


def test_the_line_names_how_many_and_which(badminton):
    assert said(badminton) == (
        "40 of 44 pulls within 2 % of what was to be expected; 2 a little off; "
        "2 to look at: R5, X12."
    )


def test_all_well_is_said_in_one_clause(make):
    view = make.small(make.bare(1), make.bare(2, "R1"))
    assert said(view) == "All 2 pulls within 2 % of what was to be expected."


def test_the_target_is_named_where_it_is_the_aim(make):
    view = make.small(make.bare(1, expected=None, release=109.0))
    assert said(view) == "1 of 1 pulls within 2 % of the target."


def test_no_pull_at_all(make):
    assert said(make.view(found=())) == "No pull was found for this job."


def test_nothing_but_void_pulls(make):
    view = make.small(make.bare(1, void=True), make.bare(2, void=True))
    assert said(view) == "No reading stands: 2 pulls made, all redone or undone."


def test_without_a_calibration_the_line_promises_no_force(make):
    line = said(make.uncalibrated())
    assert line.startswith("44 strings pulled without a calibration")
    assert line.endswith("1 to look at: X12.")
    assert "%" not in line


def test_many_to_look_at_are_not_a_wall(make):
    found = [make.bare(i, f"X{i}", release=90.0) for i in range(1, 13)]
    assert said(make.view(found=found)).endswith(
        "12 to look at: X1, X2, X3, X4, X5, X6, X7, X8 and 4 more."
    )


def test_planned_strings_without_a_standing_pull_are_missing(make):
    view = make.small(make.bare(1), make.bare(2, "R1", void=True))
    assert verdict_info(view).missing == ("R1", "L2", "R2", "X1", "X2", "X3")


def test_the_limit_in_the_line_is_the_limit_used(make, badminton):
    view = replace(badminton, limits=replace(badminton.limits, within_pct=0.5, look_pct=1.0))
    wide, narrow = verdict_info(badminton), verdict_info(view)
    assert narrow.within < wide.within
    assert "within 0.5 %" in sentence(narrow)


def test_reasons_say_size_side_and_what_slipped(make, badminton):
    look = {row.name: row for row in verdict_info(badminton).look}
    r5 = reasons(look["R5"], badminton.reader, badminton.limits)
    x12 = reasons(look["X12"], badminton.reader, badminton.limits)
    assert r5 == ("read 5.67\u00a0N (5.5\u00a0%) below what was to be expected",)
    assert x12[0] == "the string slipped in the gripper"


def test_a_reason_for_a_held_string_names_who_told(make):
    told = {"held_position": "L1", "seen": True, "at_least_lost": 9.04}
    view = make.small(make.bare(1), make.bare(2, "L2", at_least_give_mm=1.31, **told))
    (row,) = verdict_info(view).look
    assert reasons(row, view.reader, view.limits) == (
        "its clamp let at least 1.3\u00a0mm through (9.0\u00a0N), told by the release at L2",
    )


@pytest.mark.parametrize(("readings", "side"), [(103.0, "below"), (109.0, "above")])
def test_what_all_pulls_share_is_laid_to_the_head_or_the_scale(make, readings, side):
    found = [make.bare(i, f"X{i}", release=readings + 0.1 * i) for i in range(8)]
    line = common_sentence(verdict_info(make.view(found=found)))
    assert f"{side} what was to be expected" in line
    assert "not single strings" in line


def test_a_small_offset_or_a_few_pulls_share_nothing_worth_a_line(make, badminton):
    assert common_sentence(verdict_info(badminton)) is None
    few = [make.bare(i, f"X{i}", release=100.0) for i in range(7)]
    assert common_sentence(verdict_info(make.view(found=few))) is None


def test_what_could_not_be_judged_is_counted(make):
    view = make.small(make.bare(1), make.bare(2, "R1", release=None))
    assert said(view) == "1 of 2 pulls within 2 % of what was to be expected; 1 not judged: R1."
