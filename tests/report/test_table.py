"""The pull table says each number as it may be said."""

import re

import pytest

from tensionlog.report.rounding import Reader
from tensionlog.report.rows import rows
from tensionlog.report.table import clamp_text, held_text, in_words, pull_table, step_text

N = Reader("N")


def row_of(make, **changes):
    (row,) = rows(make.view(found=(make.bare(1, **changes),)))
    return row


def test_a_seen_step_carries_its_uncertainty(make):
    assert step_text(row_of(make, drop=1.234, drop_u=0.021, seen=True), N) == "1.234 ± 0.021"


def test_an_unseen_step_is_below_a_number_and_never_zero(make):
    assert step_text(row_of(make, drop=0.0, drop_u=0.02), N) == "not seen (below 0.04)"


def test_no_release_to_look_for_is_a_dash(make):
    assert step_text(row_of(make, drop=None, drop_u=None), N) == "–"


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({}, "none behind"),
        ({"held_position": "L1"}, "L1: –"),
        ({"held_position": "L1", "at_least_lost": 0.01}, "L1: –"),
        ({"held_position": "L1", "at_least_lost": 7.04}, "L1 ≥\u00a07.0\u00a0N"),
        (
            {"held_position": "L1", "at_least_lost": 7.04, "at_least_give_mm": 0.84},
            "L1 ≥\u00a07.0\u00a0N, 0.8\u00a0mm",
        ),
    ],
)
def test_the_string_behind_is_named_with_what_it_lost(make, given, text):
    assert held_text(row_of(make, **given), N) == text


def test_clamps_are_named_in_the_order_worked(make):
    assert clamp_text(row_of(make, clamp_opened="B", clamp_shut="A")) == "B → A"
    assert clamp_text(row_of(make, clamp_opened=None, clamp_shut=None)) == "– → –"


def test_flags_are_said_in_words_after_the_state(make):
    row = row_of(make, release=90.0, flags=("early-clamp",), kind="lift-off")
    assert in_words(row) == (
        "to look at (under); lift-off: the string pulled again to read what it held; "
        "clamp shut before the string had settled"
    )
    assert in_words(row_of(make)) == ""


def test_a_redone_pull_is_struck_through_and_says_so(badminton):
    table = pull_table(rows(badminton), N)
    (void,) = re.findall(r'<tr class="void">.*?</tr>', table)
    assert "<s>R5</s>" in void
    assert "redone" in void
    assert table.count("<s>R5</s>") == 1


def test_there_is_a_row_for_every_pull_and_a_cell_for_every_head(badminton):
    table = pull_table(rows(badminton), N)
    body = re.findall(r"<tr.*?</tr>", table)
    cells = {len(re.findall(r"<t[hd]", row)) for row in body}
    assert len(body) == 1 + len(badminton.pulls)
    assert cells == {12}


def test_counts_have_readings_and_evenness_but_no_target_and_no_loss(make):
    table = pull_table(rows(make.uncalibrated()), Reader("counts"))
    heads = re.findall(r'<th scope="col">(.*?)</th>', table)
    assert heads[1:5] == [
        "Peak counts",
        "Settled top counts",
        "At release counts",
        "From the median",
    ]
    assert not [head for head in heads if head.startswith(("Target", "Expected", "Loss"))]
    assert "not judged" not in table


def test_every_head_of_a_force_names_its_unit(badminton):
    table = pull_table(rows(badminton), Reader("kgf"))
    heads = re.findall(r'<th scope="col">(.*?)</th>', table)
    unitless = {"String", "Loss %", "String behind lost", "Clamp opened → shut", "In words"}
    assert [head for head in heads if "kgf" not in head and head not in unitless] == []


def test_a_hostile_clamp_name_is_text(make):
    table = pull_table((row_of(make, clamp_opened="<script>"),), N)
    assert "<script>" not in table
