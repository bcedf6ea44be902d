"""JSON that every SQLite reads, and that comes back as it was."""

import json
import sqlite3

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.store.jsontext import exact_json_text, json_text, storable_text

_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)

_calm = settings(deadline=None)  # a shared computer may stall in any example


def valid(text: str) -> bool:
    db = sqlite3.connect(":memory:")
    try:
        return bool(db.execute("SELECT json_valid(?)", [text]).fetchone()[0])
    finally:
        db.close()


@_calm
@given(_JSON)
def test_sqlite_takes_whatever_python_reads_from_a_line(value):
    assert valid(json_text(value))


@_calm
@given(st.dictionaries(st.text(), st.integers() | st.text() | st.none()))
def test_sound_json_comes_back_in_its_own_order(value):
    assert list(json.loads(json_text(value)).items()) == list(value.items())


def test_what_json_does_not_know_becomes_null():
    read = json.loads('{"a": NaN, "b": [Infinity, -Infinity, 1.5], "c": {"d": NaN, "e": "x"}}')

    assert json_text(read) == '{"a": null, "b": [null, null, 1.5], "c": {"d": null, "e": "x"}}'


def test_half_a_surrogate_pair_becomes_a_question_mark():
    assert json_text(json.loads('["\\ud800", "é"]')) == '["?", "é"]'


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_an_answer_of_our_own_holds_no_nan(number):
    with pytest.raises(ValueError, match="not JSON compliant"):
        exact_json_text({"zero_N": number})


@pytest.mark.parametrize(
    ("text", "kept"), [("a\0b", "a?b"), ("\udcff.rec", "?.rec"), ("é", "é")]
)
def test_text_that_a_database_cannot_hold_is_replaced(text, kept):
    assert storable_text(text) == kept
