"""Stage and answers from the notes alone."""

import pytest

from tensionlog.page.steps import AFTER, BEFORE, BETWEEN
from tensionlog.page.story import made, overdue, stage, step_now, story

from .conftest import TICKET


@pytest.fixture
def told(note):
    """A story with a ticket and some steps answered."""

    def tell(*items, more=()):
        notes = [note("job-start", job=TICKET)]
        notes += [note("inspect", item=item, answer="sound") for item in items]
        return story([*notes, *more])

    return tell


BEFORE_ITEMS = [step.item for step in BEFORE]
AFTER_ITEMS = [step.item for step in AFTER]


def test_a_job_begins_with_its_first_step(told, standing):
    assert stage(told(), standing(0)) == "before"
    assert step_now(told(), standing(0)) is BEFORE[0]


def test_once_all_is_confirmed_strings_are_due(told, standing):
    done = told(*BEFORE_ITEMS)
    assert stage(done, standing(0)) == "strings"
    assert step_now(done, standing(0)) is None


def test_the_arms_are_looked_at_again_after_the_mains(told, standing):
    done = told(*BEFORE_ITEMS)
    assert step_now(done, standing(3)) is None
    assert step_now(done, standing(4)) is BETWEEN
    assert step_now(told(*BEFORE_ITEMS, BETWEEN.item), standing(4)) is None


def test_while_the_head_holds_nobody_is_asked(told, standing):
    assert step_now(told(*BEFORE_ITEMS), standing(4, loaded=True)) is None


def test_after_the_last_string_comes_the_weave(told, standing):
    done = told(*BEFORE_ITEMS, BETWEEN.item)
    assert stage(done, standing(6)) == "after"
    assert step_now(done, standing(6)) is AFTER[0]
    assert stage(done, standing(6, loaded=True)) == "strings"


def test_an_undo_brings_the_strings_back(told, standing):
    done = told(*BEFORE_ITEMS, BETWEEN.item)
    assert stage(done, standing(6, "undo")) == "strings"
    assert made(standing(6, "undo")) == 5


def test_the_end_is_a_note_and_so_is_the_hand_over(told, standing, note):
    ended = told(*BEFORE_ITEMS, more=[note("job-end")])
    assert stage(ended, standing(6)) == "slip"
    assert told(more=[note("job-end"), note("hand-over")]).is_over


def test_a_crack_ends_the_job_unless_somebody_answers_for_it(told, standing, note):
    crack = note("inspect", item="frame", answer="cracked")
    assert stage(told(more=[crack]), standing(0)) == "refused"
    vouched = told(more=[crack, note("override", what="crack", by="T. Quill")])
    assert stage(vouched, standing(0)) == "before"
    assert vouched.vouched == "T. Quill"


def test_an_answer_taken_back_is_asked_again(told, standing, note):
    back = note("inspect", item=BEFORE_ITEMS[1], answer="taken back")
    again = told(*BEFORE_ITEMS[:2], more=[back])
    assert step_now(again, standing(0)) is BEFORE[1]
    assert again.order == (BEFORE_ITEMS[0],)


def test_steps_that_strings_went_past_are_overdue(told, standing):
    assert overdue(told(BEFORE_ITEMS[0]), standing(0)) == ()
    assert [s.item for s in overdue(told(BEFORE_ITEMS[0]), standing(1))] == BEFORE_ITEMS[1:]
    assert overdue(told(*BEFORE_ITEMS), standing(5)) == (BETWEEN,)


def test_pause_and_remarks_are_kept(told, note):
    rested = told(more=[note("pause"), note("remark", text="knot retied")])
    assert rested.is_paused
    assert rested.remarks == ("knot retied",)
    assert not told(more=[note("pause"), note("go-on")]).is_paused


def test_another_ticket_of_the_same_sitting_opens_the_job_again(told, note, standing):
    again = told(
        *BEFORE_ITEMS, more=[note("broke", position="L2"), note("job-start", job=TICKET)]
    )
    assert not again.is_ended
    assert stage(again, standing(0)) == "strings"
