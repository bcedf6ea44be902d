"""One word, one number, one sound, said of the right string."""

import pytest

from tensionlog.page.verdict import TONES, is_loss, off_pct, short, verdict
from tensionlog.report.rounding import Reader
from tensionlog.report.view import Limits


@pytest.fixture
def said(words):
    def say(pull, *, holds=False, head="lockout", unit="N"):
        return verdict(pull, words, reader=Reader(unit), head=head, holds=holds)

    return say


def lost(**more):
    return {
        "seen": True, "drop": 3.0, "at_least_lost": 8.0, "at_least_give_mm": 1.2, **more
    }  # fmt: skip


def test_a_string_that_held_is_said_of_the_string_behind(pull, said):
    found = said(pull())
    assert (found.word, found.tone, found.number) == ("held", "good", "106\u00a0N")
    assert found.text.startswith("L1 behind")


def test_a_loss_names_the_string_behind_and_what_to_do_while_the_head_holds(pull, said):
    found = said(pull(**lost()), holds=True)
    assert (found.word, found.tone, found.number) == ("lost", "bad", "8.0\u00a0N")
    assert found.text == "L1 behind lost at least 8.0\u00a0N (1.2\u00a0mm of string)"
    assert "crank once more" in found.do
    assert "clamp A" in found.do


@pytest.mark.parametrize(
    ("head", "piece"),
    [("constant-pull", "pull on"), ("drop-weight", "Lift the bar"), (None, "crank")],
)
def test_what_to_do_is_that_of_the_head(pull, said, head, piece):
    assert piece in said(pull(**lost()), holds=True, head=head).do


def test_once_let_off_the_advice_is_another(pull, said):
    assert said(pull(**lost())).do.startswith("Redo")


def test_a_small_loss_is_told_softly(pull, said):
    found = said(pull(**lost(at_least_lost=2.0, at_least_give_mm=0.3)))
    assert (found.word, found.tone) == ("gave", "look")


@pytest.mark.parametrize(
    ("position", "drop", "flag", "word"),
    [("X3", 2.4, "worked-twice", "gave"), ("X3", 2.4, "straightened", "gave"),
     ("X3", 6.0, "straightened", "lost"), ("X3", 2.4, "early-clamp", "lost"),
     ("L3", 2.4, "worked-twice", "lost")],
)  # fmt: skip
def test_a_cross_that_was_pushed_straight_is_no_alarm(pull, said, position, drop, flag, word):
    """A push of 0.7 s settled 2.4 N lower on the simulated bench, and read as 9.6 N lost."""
    found = said(pull(position=position, flags=(flag,), **lost(drop=drop)))
    assert found.word == word
    assert ("pushed straight" in found.text) == (word == "gave")


def test_a_step_that_relaxation_explains_is_no_loss(pull, said):
    found = said(pull(seen=True, at_least_lost=0.0, at_least_give_mm=0.0))
    assert (found.word, found.tone) == ("held", "good")


def test_without_millimetres_a_twentieth_of_the_target_is_a_loss(pull):
    assert is_loss(pull(at_least_lost=5.6), Limits())
    assert not is_loss(pull(at_least_lost=5.4), Limits())
    assert not is_loss(pull(), Limits())


@pytest.mark.parametrize(
    ("release", "word", "tone"),
    [(106.0, "held", "good"), (103.0, "bit-low", "look"), (100.0, "low", "bad"),
     (109.5, "bit-high", "look"), (112.0, "high", "bad")],
)  # fmt: skip
def test_the_reading_is_compared_with_what_was_due(pull, said, release, word, tone):
    found = said(pull(release=release))
    assert (found.word, found.tone) == (word, tone)


def test_a_loss_comes_before_a_low_reading_and_a_slide_before_both(pull, said):
    bad = lost(release=90.0)
    assert said(pull(**bad)).word == "lost"
    assert said(pull(**bad, flags=("gripper-slip",))).word == "slid"


def test_a_first_string_has_nothing_behind_it(pull, said):
    found = said(pull(held_position=None, drop=None, flags=("no-release",)))
    assert (found.word, found.tone) == ("pulled", "good")


def test_a_release_that_says_nothing_accuses_nobody(pull, said):
    found = said(pull(flags=("straightened",)))
    assert found.word == "pulled"
    assert "cannot be judged" in found.text


def test_a_reading_that_broke_off_is_said(pull, said):
    assert said(pull(flags=("interrupted",))).word == "broken-off"


def test_a_lift_off_says_what_the_string_holds(pull, said):
    found = said(pull(kind="lift-off", held=98.0, held_position="L2"))
    assert (found.word, found.number) == ("holds", "98.0\u00a0N")


def test_without_a_reading_no_number_is_made_up(pull, said):
    found = said(pull(held_position=None, release=None, expected=None))
    assert (found.word, found.number, found.tone) == ("unread", "", "look")


def test_counts_are_compared_with_nothing(pull):
    assert off_pct(pull(unit="counts")) is None


def test_every_verdict_has_a_word_a_sound_and_a_tone(pull, said, words):
    cases = [{}, lost(), lost(at_least_lost=1.0, at_least_give_mm=0.1), {"release": 90.0}]
    cases += [{"release": 120.0}, {"flags": ("gripper-slip",)}, {"flags": ("interrupted",)}]
    for case in cases:
        found = said(pull(**case))
        assert f"word.{found.word}" in words
        assert found.tone in TONES


@pytest.mark.parametrize(
    ("unit", "force", "text"), [("lbf", 110.0, "24.7\u00a0lbf"), ("N", 3.21, "3.2\u00a0N")]
)
def test_a_number_for_a_glance_is_short(unit, force, text):
    assert short(Reader(unit), force) == text
