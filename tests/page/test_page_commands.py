"""A key to its notes, or to why not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.page.commands import clamp_names, decide, passed_over
from tensionlog.page.steps import AFTER, BEFORE, BETWEEN
from tensionlog.page.story import story

from .conftest import TICKET

DONE = [step.item for step in (*BEFORE, BETWEEN)]


@pytest.fixture
def told(note):
    def tell(*items, more=()):
        notes = [note("job-start", job=TICKET)]
        notes += [note("inspect", item=item, answer="sound") for item in items]
        return story([*notes, *more])

    return tell


@pytest.fixture
def do(told, standing):
    """Do something while so many strings are pulled and everything is confirmed."""

    def act(name, pulls=2, *, items=DONE, loaded=False, more=(), **with_it):
        return decide(
            {"do": name, **with_it}, told(*items, more=more), standing(pulls, loaded=loaded)
        )

    return act


@pytest.mark.parametrize("name", ["redo", "undo", "lift-off"])
def test_a_key_writes_its_note(do, name):
    assert list(do(name).notes) == [{"note": name}]


def test_nothing_is_taken_back_before_anything_was_pulled(do):
    assert do("redo", 0).refused == "no.nothing-pulled"


def test_undo_among_confirmations_takes_the_last_answer_back(do):
    found = do("undo", 0, items=DONE[:2])
    assert list(found.notes) == [{"note": "inspect", "item": DONE[1], "answer": "taken back"}]


def test_skip_goes_to_the_string_after_the_next(do):
    (found,) = do("skip").notes
    assert found == {"note": "place", "position": "R2", "skipped": "L2"}


def test_nothing_is_skipped_while_the_head_holds(do):
    assert do("skip", loaded=True).refused == "no.loaded"


def test_skip_before_a_step_records_it_as_skipped(do):
    (found,) = do("skip", 0, items=[]).notes
    assert (found["item"], found["answer"]) == (BEFORE[0].item, "skipped")


def test_a_touched_string_is_the_next(do):
    assert list(do("place", position="X2").notes) == [{"note": "place", "position": "X2"}]
    assert do("place", position="X9<").refused == "no.position"


def test_the_other_clamp_is_one_key(do):
    (found,) = do("clamp").notes
    assert found == {"note": "clamp", "shut": "A"}  # R1 was planned into B
    assert do("clamp", shut="Z").refused == "no.clamp"


def test_a_broken_string_begins_the_bed_again_with_the_same_ticket(do):
    broke, again = do("broke").notes
    assert broke == {"note": "broke", "position": "R1"}
    assert again["job"]["ref"] == TICKET["ref"]


def test_a_remark_is_one_line_of_bounded_length(do):
    (found,) = do("remark", text="  a\n b " + "x" * 999).notes
    assert found["text"].startswith("a b x")
    assert len(found["text"]) == 400
    assert do("remark", text=" ").refused == "no.empty"


def test_pause_and_go_on_are_one_key(do, note):
    assert list(do("pause").notes) == [{"note": "pause"}]
    assert list(do("pause", more=[note("pause")]).notes) == [{"note": "go-on"}]


def test_yes_answers_the_step_that_is_open(do):
    (found,) = do("confirm", 0, items=[]).notes
    assert found == {"note": "inspect", "item": "old-strings", "answer": "cut"}


def test_the_head_needs_two_lengths(do):
    before = [BEFORE[0].item]
    assert do("answer", 0, items=before, item="head-before").refused == "no.size"
    (found,) = do("answer", 0, items=before, long_mm="245,5", wide_mm="190").notes
    assert (found["long_mm"], found["wide_mm"]) == (245.5, 190.0)
    assert do("answer", 0, items=before, long_mm="9", wide_mm="190").refused == "no.size"


def test_a_step_that_was_answered_is_not_answered_twice(do):
    assert (
        do("answer", 0, items=[BEFORE[0].item], item=BEFORE[0].item).refused == "no.step-passed"
    )


def test_the_last_answer_ends_the_job(do):
    items = [*DONE, *(step.item for step in AFTER[:-1])]
    *_, end = do("confirm", 6, items=items, long_mm=245, wide_mm=190).notes
    assert end == {"note": "job-end"}


def test_handing_over_ends_the_recording(do, note):
    found = do("confirm", 6, more=[note("job-end")])
    assert list(found.notes) == [{"note": "hand-over"}]
    assert found.ends
    assert do("finish").refused == "no.not-done"


def test_a_cracked_frame_is_strung_by_name_only(do, note):
    crack = [note("inspect", item="frame", answer="cracked")]
    assert do("vouch", 0, more=crack).refused == "no.name"
    (found,) = do("vouch", 0, more=crack, by="T. Quill").notes
    assert found == {"note": "override", "what": "crack", "by": "T. Quill"}
    ended = do("confirm", 0, more=crack)
    assert [n["note"] for n in ended.notes] == ["job-end", "given-up"]
    assert ended.ends
    assert do("vouch").refused == "no.not-cracked"


def test_giving_up_says_why(do):
    *_, last = do("give-up", why=" player came back ").notes
    assert last == {"note": "given-up", "why": "player came back"}


def test_what_was_passed_over_is_recorded_as_skipped(told, standing):
    notes = passed_over(told(BEFORE[0].item), standing(1))
    assert [n["item"] for n in notes] == [step.item for step in BEFORE[1:]]
    assert {n["answer"] for n in notes} == {"skipped"}


def test_clamps_are_those_of_the_ticket(standing):
    assert clamp_names(standing(0)) == ["A", "B"]
    assert clamp_names(None) == []


@given(st.dictionaries(st.text(max_size=9), st.text(max_size=9)), st.text(max_size=12))
def test_nonsense_is_refused_and_never_an_error(body, name):
    found = decide({**body, "do": name}, story([]), None)
    assert found.refused is not None or found.notes
