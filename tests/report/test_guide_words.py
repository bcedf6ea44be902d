"""What a guide says has words, a glance and a sound of its own."""

import pytest

from tensionlog.model.guide import Ask, Done, Reading, Refused, Took
from tensionlog.report import guide_words as words


def test_forces_and_masses_are_filled_in_by_name():
    refused = Refused(step="d", words="pull-too-low", values={"force_n": 30, "wanted_n": 110})

    assert (
        words.sentence(refused) == "only 30.0 N came of it, 110.0 N were expected: pull again."
    )
    assert "6.7 lb" in words.sentence(refused, unit="lbf")


def test_a_captured_value_carries_its_uncertainty():
    took = Took(step="l", words="hang", values={"mass_kg": 10.0}, value=98.107, u=0.0123)

    assert words.sentence(took) == "10 kg: 98.107 ± 0.012 N"


def test_counts_stay_counts_in_any_unit():
    reading = Reading("l", 1.0, 84211.4, "counts", "settling")

    assert words.sentence(reading, unit="lbf") == "84211 counts settling"


def test_each_kind_of_news_has_a_sound_of_its_own():
    said = [
        Ask(step="l", words="hang"),
        Took(step="l", words="hang"),
        Refused(step="l", words="unsteady"),
        Done(words="done"),
    ]

    kinds = [words.kind_of(s) for s in said]

    assert len({words.BELLS[k] for k in kinds if k}) == 4
    assert len({words.TONES[k] for k in kinds if k}) == 4
    assert words.kind_of(Reading("l", 1.0, 1.0, "N", "steady")) is None


@pytest.mark.parametrize("ends", ["steady", "pull", "let-off", "time", "key", "number"])
def test_every_ask_has_a_word_for_a_glance(ends: str):
    assert words.glance(Ask(step="x", words="of another test", ends=ends))


def test_a_key_that_nobody_wrote_words_for_stands_for_itself():
    assert words.sentence(Done(words="unheard-of")) == "unheard-of"
