"""Head checks from the database: a table of what to dial, only on a good day."""

from datetime import timedelta

import pytest

from tensionlog.model.recording import Header
from tensionlog.pipeline.dial_advice import dial_advice, todays_verdict, with_dial
from tensionlog.pipeline.heads import head_checks, head_of, latest_head, recent_head
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY
from tensionlog.units import N_PER_LBF

SETTINGS_N = (90.0, 120.0, 220.0)


def answer(set_n: float, off: float = 0.03, **more: object) -> dict[str, object]:
    peak_n = set_n * (1 - off)
    return {"set_N": set_n, "peak_N": peak_n, "at_3s_N": 0.97 * peak_n, **more}


def add(
    store: Store, day: float, pulls: list[dict[str, object]], verdict: str | None = "good"
) -> None:
    started = FIRST_DAY + timedelta(days=day)
    number = store.begin(Header(bench="north", purpose="check", started=started), name="x.rec")
    store.add_answer(number, "check", {"verdict": verdict, "u_span_error_pct": 0.02})
    if pulls:
        store.add_answer(number, "head", pulls)


@pytest.fixture
def store():
    with Store.memory() as memory:
        yield memory


def test_slow_and_fast_pulls_are_told_apart():
    pulls = [answer(s, 0.03, speed="slow") for s in SETTINGS_N]
    pulls += [answer(s, 0.02, speed="fast") for s in SETTINGS_N]

    head = head_of(pulls)

    assert head is not None
    assert head.fast_less_slow_pct == pytest.approx(100 * (0.98 / 0.97 - 1))


def test_pulls_without_a_reading_and_a_dial_in_another_unit_give_no_head():
    assert head_of([{"set_N": 100.0, "peak_N": None}]) is None
    assert head_of([answer(100.0, -4.0)]) is None


def test_two_weeks_of_daily_pulls_stand_together(store):
    for day in (0.0, 20.0, 25.0, 30.0):
        add(store, day, [answer(90.0 + day)])
    at = FIRST_DAY + timedelta(days=30.1)

    head = recent_head(store, bench="north", at=at)

    assert head is not None and len(head.pulls) == 3
    assert len(head_checks(store, bench="north")) == 4
    newest = latest_head(store, bench="north")
    assert newest is not None and newest.pulls[0].set_n == 120.0
    assert recent_head(store, bench="south", at=at) is None


TICKET = {"target_mains_N": 26 * N_PER_LBF, "target_crosses_N": 24 * N_PER_LBF}


def test_a_ticket_is_told_what_to_dial_on_a_good_day(store):
    add(store, 0.0, [answer(s) for s in SETTINGS_N] * 2)
    at = FIRST_DAY + timedelta(minutes=30)

    advice = dial_advice(store, TICKET, bench="north", at=at)

    assert list(advice) == ["mains", "crosses"]
    assert advice["mains"].dial_n == pytest.approx(26 * N_PER_LBF / 0.97, rel=0.01)
    used = with_dial(TICKET, mains_n=advice["mains"].dial_n, crosses_n=None)
    assert used["dial_N"] == pytest.approx(119.2, abs=1.0)
    assert "dial_crosses_N" not in used


@pytest.mark.parametrize("verdict", ["adjust", "stop", None])
def test_on_any_other_day_there_is_no_number(store, verdict):
    add(store, 0.0, [answer(s) for s in SETTINGS_N], verdict)

    advice = dial_advice(store, TICKET, bench="north", at=FIRST_DAY + timedelta(minutes=30))

    assert advice["mains"].dial_n is None
    assert str(verdict or "missing") in advice["mains"].says


def test_yesterdays_good_check_is_not_todays(store):
    add(store, 0.0, [answer(s) for s in SETTINGS_N])
    at = FIRST_DAY + timedelta(days=1, hours=2)

    assert todays_verdict(store, bench="north", at=at) is None
    assert dial_advice(store, TICKET, bench="north", at=at)["mains"].dial_n is None


def test_the_frames_limit_comes_first(store):
    add(store, 0.0, [answer(s) for s in SETTINGS_N])
    limited = {**TICKET, "frame_limit_N": 26 * N_PER_LBF}

    advice = dial_advice(store, limited, bench="north", at=FIRST_DAY + timedelta(minutes=30))

    assert advice["mains"].dial_n is None and "frame's limit" in advice["mains"].says
    assert advice["crosses"].dial_n is not None


def test_without_any_head_check_there_is_nothing_to_say(store):
    assert dial_advice(store, TICKET, bench="north", at=FIRST_DAY) == {}
