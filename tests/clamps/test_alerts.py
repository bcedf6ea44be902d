"""The life of an alert: never twice, closed by a test that shows the cure, opened again."""

from dataclasses import replace

import pytest

from tensionlog.clamps.alerts import (
    COMES_BACK_S,
    STATES,
    acted,
    after_recording,
    alert_of,
    closed_if_cured,
    raised,
    seen,
)
from tensionlog.clamps.causes import Explained, Finding
from tensionlog.clamps.series import DAY_S, Series
from tensionlog.clamps.shifts import Shift, Since
from tensionlog.clamps.status import alert_answer
from tensionlog.clamps.words import APART, DO, MEANS, do_of, evidence_of, text_of

AT_S = 30 * DAY_S


def finding(cause="clamp-B", *, at_s=AT_S, moved=("give-B",), certain=True, runner_up="string"):
    shifts = {
        "give-A": Shift(0.02, 0.03, 0.8, 9),
        "give-B": Shift(0.41, 0.05, 0.9, 9),
        "relaxation": Shift(0.0, float("inf"), float("nan"), 0),
    }
    best = Explained(
        cause=cause,
        since=Since(20 * DAY_S, "drift"),
        score=12.0,
        moved=moved,
        telling=(moved,),
        shifts=shifts,
    )
    other = replace(best, cause=runner_up, score=3.0) if runner_up else None
    return Finding(cause=cause, best=best, runner_up=other, at_s=at_s, certain=certain)


def gives(values, *, first_day=31, name="give-B"):
    times = tuple(DAY_S * (first_day + i) for i in range(len(values)))
    return {name: Series(name=name, times_s=times, values=tuple(values))}


def test_an_alert_says_who_what_since_when_and_what_next():
    alert = alert_of(finding())
    assert alert.text == "Clamp B gives +0.41 ± 0.10 mm more than before."
    assert "Clean the jaws of clamp B" in alert.do
    assert alert.evidence[0] == "Since 1970-01-21, day by day:"
    assert "give of clamp B: +0.41 ± 0.10 mm over 9 tests, from 0.90" in alert.evidence
    assert (
        "give of clamp A: +0.02 ± 0.06 mm over 9 tests, from 0.80, no shift" in alert.evidence
    )
    assert "the string's own relaxation: not measured since, or no baseline before" in (
        alert.evidence
    )
    assert (alert.cause, alert.runner_up, alert.raised_s) == ("clamp-B", "string", AT_S)


def test_the_same_thing_is_never_raised_twice():
    once = raised((), finding())
    again = raised(once, finding(at_s=AT_S + DAY_S))
    assert again == once
    also = raised(again, finding("string", moved=("give-B",), at_s=AT_S + 2 * DAY_S))
    assert also == once


def test_another_thing_is_another_alert():
    both = raised(raised((), finding()), finding("clamp-A", moved=("give-A",)))
    assert [alert.cause for alert in both] == ["clamp-B", "clamp-A"]


def test_what_is_not_certain_raises_nothing():
    assert raised((), finding(certain=False)) == ()
    assert raised((), None) == ()


def test_the_states_in_order():
    alert = alert_of(finding())
    looked = seen(alert, at_s=1.0)
    done = acted(looked, at_s=2.0)
    cured = closed_if_cured(done, gives([0.95]), at_s=31 * DAY_S)
    assert [a.state for a in (alert, looked, done, cured)] == list(STATES)
    assert (looked.seen_s, done.acted_s, cured.closed_s) == (1.0, 2.0, 31 * DAY_S)
    assert seen(done, at_s=3.0) is done
    assert acted(cured, at_s=3.0) is cured
    assert closed_if_cured(cured, gives([0.9]), at_s=99 * DAY_S) is cured


def test_a_test_that_is_no_better_closes_nothing():
    done = acted(alert_of(finding()), at_s=AT_S + 1.0)
    assert closed_if_cured(done, gives([1.25]), at_s=31 * DAY_S).state == "acted"
    assert closed_if_cured(done, {}, at_s=31 * DAY_S).state == "acted"


def test_a_better_clamp_than_ever_is_cured_too():
    done = acted(alert_of(finding()), at_s=AT_S + 1.0)
    assert closed_if_cured(done, gives([0.4]), at_s=31 * DAY_S).state == "closed"


def test_without_a_hand_laid_on_three_good_tests_close_it():
    alert = alert_of(finding())
    good = gives([0.9, 0.95, 0.85])
    assert closed_if_cured(alert, good, at_s=32 * DAY_S).is_open
    assert not closed_if_cured(alert, good, at_s=33 * DAY_S).is_open


def test_a_zero_that_went_the_other_way_is_not_cured():
    shifts = {"zero": Shift(0.5, 0.05, 0.0, 9)}
    best = replace(
        finding().best, cause="cell-zero", moved=("zero",), telling=(("zero",),), shifts=shifts
    )
    alert = alert_of(replace(finding(), cause="cell-zero", best=best))
    done = acted(alert, at_s=AT_S + 1.0)
    assert closed_if_cured(done, gives([-0.6], name="zero"), at_s=31 * DAY_S).is_open
    assert not closed_if_cured(done, gives([0.1], name="zero"), at_s=31 * DAY_S).is_open


def test_only_what_shows_the_shift_by_itself_has_to_show_the_cure():
    shifts = {
        "span": Shift(0.8, 0.05, 0.0, 9),
        "head": Shift(0.8, 1.0, 0.5, 9),
        "zero": Shift(0.0, 0.05, 0.0, 9),
    }
    best = replace(
        finding().best, cause="cell-span", moved=("span", "head"), telling=(), shifts=shifts
    )
    found = replace(finding(), cause="cell-span", best=best)
    unclear = replace(best, moved=("head",))

    assert alert_of(found).watched == {"span": 0.0}
    assert alert_of(replace(found, best=unclear)).watched == {"head": 0.5}


def test_what_comes_back_soon_opens_the_old_alert_again():
    done = acted(alert_of(finding()), at_s=AT_S + 1.0)
    closed = closed_if_cured(done, gives([0.9]), at_s=31 * DAY_S)
    back = raised((closed,), finding(at_s=36 * DAY_S))
    assert len(back) == 1
    assert back[0].state == "raised"
    assert back[0].raised_s == AT_S
    assert back[0].reopened_s == (36 * DAY_S,)
    assert back[0].closed_s is None


def test_what_comes_back_long_after_is_a_new_alert():
    closed = replace(alert_of(finding()), state="closed", closed_s=31 * DAY_S)
    later = finding(at_s=31 * DAY_S + COMES_BACK_S + DAY_S)
    assert len(raised((closed,), later)) == 2


def test_one_step_of_the_watch_closes_before_it_raises():
    done = acted(alert_of(finding()), at_s=AT_S + 1.0)
    new = finding("clamp-A", moved=("give-A",), at_s=31 * DAY_S)
    alerts = after_recording((done,), gives([0.9]), new, at_s=31 * DAY_S)
    assert [alert.state for alert in alerts] == ["closed", "raised"]


def test_the_answer_is_plain():
    answer = alert_answer(alert_of(finding()))
    assert answer["state"] == "raised"
    assert answer["closed"] is None
    assert set(answer) >= {"raised", "cause", "runner_up", "text", "do", "evidence"}


def test_where_one_cannot_tell_the_test_that_would_is_what_to_do():
    found = finding("cell-span", moved=(), runner_up="head-dial")
    checked = {**found.best.shifts, "span": Shift(0.5, 0.05, 0.0, 3)}
    told = replace(found, cause="cannot-tell", best=replace(found.best, shifts=checked))
    assert do_of(told) == "To tell: hang the masses: only they part cell and head."
    assert "looks most like cell-span, then head-dial" in text_of(told)
    assert alert_of(told).runner_up == "cell-span"


@pytest.mark.parametrize(
    ("cause", "gone", "words"),
    [
        ("clamp-B", "give-A", "hold-test clamp A too"),
        ("string", "give-B", "hold-test clamp B too"),
        ("head-dial", "span", "hang the masses"),
        ("both-clamps", "relaxation", "control reel"),
    ],
)
def test_what_was_not_measured_is_what_to_measure(cause, gone, words):
    base = finding(cause, runner_up=None)
    shifts = {**base.best.shifts, gone: Shift(0.0, float("inf"), float("nan"), 0)}
    told = replace(base, cause="cannot-tell", best=replace(base.best, shifts=shifts))
    assert words in do_of(told)
    assert "nothing else" in text_of(told)


def test_a_clamp_beside_another_cause_is_tested_three_times():
    told = replace(finding(), cause="cannot-tell")
    told = replace(told, best=replace(told.best, shifts={"give-A": Shift(0.0, 0.1, 1.0, 3)}))
    assert "three times" in do_of(told)


def test_an_unusual_pair_asks_for_everything_again():
    told = replace(finding("cell-zero", moved=(), runner_up="string"), cause="cannot-tell")
    assert "morning check and both hold tests" in do_of(told)


@pytest.mark.parametrize("cause", sorted(set(DO) - {"clamp"}))
def test_every_cause_has_its_words(cause):
    told = finding(cause, moved=())
    assert text_of(told) == MEANS[cause]
    assert do_of(told) == DO[cause]
    assert evidence_of(told)


def test_every_pair_is_of_causes():
    assert all(pair <= set(DO) for pair in APART)
