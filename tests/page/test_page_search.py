"""A name that somebody half remembers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.page.search import ENOUGH, found, likeness, plain

SHOP = [
    "Ilka Vardholm unbranded 4U frame", "Tobin Quillfeather unbranded squash frame",
    "Sena Okoroma-Lund house gut", "Matteo Brisegno unbranded 98 in² frame",
]  # fmt: skip


@pytest.mark.parametrize(
    ("query", "first"),
    [("vardholm", 0), ("Vardhölm", 0), ("vardolm", 0), ("vardohlm", 0), ("quilfeather", 1),
     ("okoroma lund", 2), ("BRISEGNO", 3), ("brisenio", 3), ("ilka 4u", 0), ("squash", 1)],
)  # fmt: skip
def test_spelling_is_forgiven(query, first):
    assert found(query, SHOP, str)[0] == SHOP[first]


def test_what_is_nothing_like_it_is_not_found():
    assert found("zzzz", SHOP, str) == []


def test_nothing_asked_gives_all_in_their_order():
    assert found("  ", SHOP, str) == SHOP


@given(st.text())
def test_a_text_answers_to_itself(text):
    assert likeness(text, text) == pytest.approx(1.0)
    assert plain(plain(text)) == plain(text)


@given(st.sampled_from(["vardholm", "quillfeather", "brisegno"]), st.integers(0, 11))
def test_one_letter_left_out_is_still_found(name, at):
    at %= len(name)
    assert likeness(name[:at] + name[at + 1 :], name) >= ENOUGH
