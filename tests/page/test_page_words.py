"""Every text in one file: what the page and the rooms ask for is there."""

import re
from importlib.resources import files

import pytest

from tensionlog.errors import UsageError
from tensionlog.page.steps import AFTER, BEFORE, BETWEEN
from tensionlog.page.words import Words, languages, words_of


def test_a_text_takes_its_values(words):
    assert words("say.held", behind="L3") == "L3 behind: no loss seen."


def test_a_value_that_nobody_gave_leaves_its_name(words):
    assert words("say.held") == "{behind} behind: no loss seen."


def test_a_key_without_a_text_says_itself(words):
    assert words("nowhere") == "nowhere"
    assert "nowhere" not in words


def test_a_language_that_is_not_there_is_refused_with_those_that_are():
    with pytest.raises(UsageError, match="There are: en"):
        words_of("tlh")


def test_another_language_may_lack_texts(words):
    assert Words(words.all() | {"word.held": "HÄLT"})("word.held") == "HÄLT"
    assert languages()[0] == "en"


def test_every_step_and_answer_has_its_texts(words):
    for step in (*BEFORE, BETWEEN, *AFTER):
        assert f"step.{step.item}" in words
        assert f"step.{step.item}.how" in words
        for choice in step.choices:
            assert f"answer.{choice.answer}" in words


def test_every_text_that_the_script_asks_for_is_there(words):
    static = files("tensionlog.page").joinpath("static")
    script = static.joinpath("page.js").read_text(encoding="utf-8")
    asked = set(re.findall(r'say\("([a-z][a-z.-]+)"', script))
    assert len(asked) > 50
    assert sorted(asked - set(words.all())) == []


def test_the_script_holds_no_text_for_people():
    """A second language is a file: words in the script would stay English."""
    static = files("tensionlog.page").joinpath("static")
    for name in ("page.js", "bed.js", "sound.js"):
        script = re.sub(
            r"/\*.*?\*/", "", static.joinpath(name).read_text(encoding="utf-8"), flags=re.S
        )
        literals = re.findall(r'"([^"\n]*)"', script)
        spoken = [text for text in literals if re.search(r"[A-Z][a-z]+ [a-z]+ [a-z]+", text)]
        assert spoken == []


def test_nothing_is_loaded_from_elsewhere():
    static = files("tensionlog.page").joinpath("static")
    for file in static.iterdir():
        found = re.findall(r"https?://[^\"' )]+", file.read_text(encoding="utf-8"))
        assert set(found) <= {"http://www.w3.org/2000/svg"}


def test_the_first_load_is_small():
    static = files("tensionlog.page").joinpath("static")
    words = files("tensionlog.page").joinpath("words", "en.json")
    size = sum(len(f.read_bytes()) for f in static.iterdir()) + len(words.read_bytes())
    assert size < 1_000_000 / 10
