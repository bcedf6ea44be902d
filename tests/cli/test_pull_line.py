"""One pull in one line: position, reading, target, loss, what the string behind lost."""

from dataclasses import replace

import pytest

from tensionlog.cli.pull_line import ledger_text, pull_line, recording_lines
from tensionlog.model.sitting import Ledger
from tensionlog.pipeline.replay import replay


@pytest.fixture
def found(short_path):
    return replay(short_path).found[0]


def said(found, unit="N", **changes):
    return pull_line(replace(found, pull=replace(found.pull, **changes)), unit=unit)


BEHIND = {"position": "L2", "held_position": "L1", "drop": 4.0, "drop_u": 0.2}
READ = {"target": 110.0, "release": 107.0}


def test_reading_target_and_loss_are_said(found):
    assert "L2    reading 107.0 N, target 110.0 N, loss 3.0 N (2.7 %)" in said(
        found, **BEHIND, **READ
    )


def test_forces_are_said_in_the_readers_unit(found):
    line = said(found, unit="lbf", **READ)

    assert "reading 24.1 lbf, target 24.7 lbf, loss 0.7 lbf (2.7 %)" in line


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"at_least_lost": 5.0, "at_least_give_mm": 0.4, "seen": True},
            "at least 5.0 N (0.40 mm)",
        ),
        ({"at_least_lost": 5.0, "at_least_give_mm": None}, "at least 5.0 N"),
        ({"at_least_lost": None, "seen": True}, "L1 behind: step of 4.0 N"),
        ({"at_least_lost": None, "seen": False}, "L1 behind: no step seen (u 0.2 N)"),
    ],
)
def test_what_the_string_behind_lost_is_said(found, changes, words):
    assert words in said(found, **BEHIND, **READ, **changes)


def test_where_nothing_is_behind_nothing_is_said_of_it(found):
    assert "behind" not in said(found, **READ, held_position=None, flags=())


def test_flags_are_said_in_plain_words(found):
    assert "slipped in the gripper" in said(found, **READ, flags=("gripper-slip",))


def test_a_void_pull_and_a_lift_off_are_told_apart(found):
    assert said(found, **READ, void=True).endswith("made again")
    assert "L2 lift-off" in said(found, **BEHIND, **READ, kind="lift-off")


def test_counts_are_never_called_newtons(found):
    line = said(found, **BEHIND, release=951234.4, unit="N", target=110.0)
    counts = pull_line(
        replace(found, pull=replace(found.pull, unit="counts", release=951234.4, target=110.0))
    )

    assert "951234 counts" in counts
    assert " N" not in counts
    assert " N" in line


def test_a_pull_beyond_the_plan_has_no_position(found):
    line = said(found, position=None, release=None, flags=("beyond-plan",))

    assert "-     no reading at a clamp release" in line
    assert "beyond the planned strings" in line


def test_names_from_a_ticket_move_no_cursor(found):
    assert "\x1b" not in said(found, **READ, held_position="\x1b[2J", drop=1.0)


def test_the_ledger_names_what_was_lost():
    ledger = Ledger(
        samples=100, seconds=1.25, bad_lines=2, missing=3, restarts=1, faults={"saturated": 4}
    )

    assert ledger_text(ledger) == (
        "100 samples in 1.2 s, 3 missing, 2 bad lines, 1 restart, 4 saturated"
    )


def test_where_nothing_is_numbered_nothing_is_said_to_be_missing():
    assert "no numbers to tell what is missing" in ledger_text(
        Ledger(samples=1, missing=None, restarts=None)
    )


def test_a_recording_is_its_head_line_its_pulls_and_its_tests(short_path):
    whole = replay(short_path)
    tests = replace(whole.tests, check={"verdict": "good"}, hold={"verdict": None})

    lines = recording_lines(replace(whole, tests=tests), name="a.rec").splitlines()

    assert lines[0].startswith("a.rec: job, 3663 samples in ")
    assert len(lines) == 1 + 4 + 2
    assert lines[-2:] == ["  check: good", "  hold: no verdict"]
