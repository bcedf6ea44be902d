"""Every code has a word."""

from tensionlog.model.pull import FLAGS
from tensionlog.model.recording import HEADS
from tensionlog.report.words import FLAG_WORDS, HEAD_WORDS, flag_words, listed, plural


def test_every_flag_has_plain_words_and_no_word_lacks_a_flag():
    assert set(FLAG_WORDS) == set(FLAGS)
    assert all("-" not in text.replace("re-", "") for text in FLAG_WORDS.values())


def test_every_head_has_a_name():
    assert set(HEAD_WORDS) == set(HEADS)


def test_a_flag_of_a_later_version_keeps_its_own_name():
    assert flag_words("sung-off-key") == "sung-off-key"


def test_counting_and_listing():
    assert plural(0, "pull") == "0 pulls"
    assert listed([]) == ""
