"""HTML in pieces: no text gets out of its element."""

import json
from html.parser import HTMLParser

from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.report.markup import Markup, escaped, facts, json_script, table, tag

texts = st.text(st.characters(codec="utf-8", exclude_characters="\r\0"), max_size=40)


class Reading(HTMLParser):
    """What a browser makes of a piece."""

    def __init__(self, piece):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], ""
        self.feed(piece)
        self.close()

    def handle_starttag(self, tag, attrs):
        """Note an element."""
        self.tags.append(tag)
        self.attributes.append(dict(attrs))

    def handle_data(self, data):
        """Note what stands inside."""
        self.text += data


@given(texts)
def test_text_reads_back_as_itself_and_opens_nothing(text):
    read = Reading(tag("p", text))
    assert (read.tags, read.text) == (["p"], text)


@given(texts)
def test_an_attribute_reads_back_as_itself(text):
    assert Reading(tag("p", aria_label=text)).attributes == [{"aria-label": text}]


@given(st.recursive(texts, lambda inner: st.dictionaries(texts, inner, max_size=3)))
@settings(max_examples=30)
def test_json_reads_back_as_itself_and_cannot_end_its_script(data):
    piece = json_script(data)
    body = piece.removeprefix('<script type="application/json">').removesuffix("</script>")
    assert json.loads(body) == data
    assert not set(body) & set("<>&")


def test_a_script_in_a_name_is_text():
    assert "<script>" not in tag("b", "<script>alert(1)</script>")


def test_markup_is_left_as_it_is_and_only_markup():
    assert escaped(Markup("<b>")) == "<b>"
    assert escaped("<b>") == "&lt;b&gt;"
    assert escaped(3) == "3"


def test_flags_stand_alone_and_absent_attributes_are_left_out():
    assert (
        tag("button", disabled=True, title=None, hidden=False) == "<button disabled></button>"
    )


def test_a_table_scrolls_in_its_own_box_and_says_what_it_is():
    read = Reading(table(("a", "b"), [tag("tr", tag("td", "1"))], label="All pulls"))
    assert read.attributes[0]["class"] == "scroll"
    assert read.attributes[0]["aria-label"] == "All pulls"
    assert read.tags.count("th") == 2


def test_facts_pair_name_and_text():
    assert Reading(facts([("Owner", "Ida & co")])).text == "OwnerIda & co"
