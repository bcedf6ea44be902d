"""The watch: recordings one after the other, alerts by the recording that raised them."""

import numpy as np
import pytest

from tensionlog.clamps.records import Checked, Dialled, Served, Told
from tensionlog.clamps.records import Tested as OneTest
from tensionlog.clamps.series import DAY_S
from tensionlog.clamps.watch import alerts_after, alerts_of

START_S = 1.7e9


def at(day, minute=0):
    return {"recording_s": START_S + day * DAY_S, "at_s": START_S + day * DAY_S + 60 * minute}


def morning(rng, day, *, worn_mm=0.0, off_pct=0.0):
    """What one morning leaves: a check, a head check, a hold test of each clamp."""
    yield Checked(
        **at(day),
        zero_n=0.05 * rng.normal(),
        span_pct=off_pct + 0.03 * rng.normal(),
        calibration="old" if day < 28 else "new",
    )
    yield Dialled(**at(day, 2), head_pct=off_pct + 0.2 * rng.normal())
    for clamp, extra_mm in (("A", 0.0), ("B", worn_mm)):
        yield OneTest(
            recording_s=START_S + day * DAY_S + 600,
            at_s=START_S + day * DAY_S + 660,
            clamp=clamp,
            target_n=120.0,
            give_mm=0.8 + extra_mm + 0.08 * rng.normal(),
            relaxation_pct=4.0 + 0.1 * rng.normal(),
            verdict="good",
        )


def worn(days=36, *, cleaned_day=26, seed=1):
    """Clamp B gives half a millimetre more from day 16 until it is cleaned."""
    rng = np.random.default_rng(seed)
    records = [
        record
        for day in range(days)
        for record in morning(rng, day, worn_mm=0.5 if 16 <= day < cleaned_day else 0.0)
    ]
    served = Served(**at(cleaned_day - 1, 600), clamp="B", what="cleaned")
    return [*records, served] if cleaned_day < days else records


@pytest.fixture(scope="module")
def history():
    return worn()


@pytest.fixture(scope="module")
def alerts(history):
    return alerts_of(history)


def test_an_alert_is_raised_by_a_recording_of_its_time(history, alerts):
    assert [alert.cause for alert in alerts] == ["clamp-B"]
    assert alerts[0].raised_s in {record.recording_s for record in history}
    assert 16 <= (alerts[0].raised_s - START_S) / DAY_S < 20


def test_a_service_is_acted_on_and_the_tests_after_it_close(alerts):
    assert alerts[0].acted_s == pytest.approx(START_S + 25 * DAY_S + 36000)
    assert alerts[0].state == "closed"
    assert 26 <= (alerts[0].closed_s - START_S) / DAY_S < 28


def test_one_step_at_a_time_gives_the_same_as_all_at_once(history, alerts):
    stepped = ()
    for recording_s in sorted({record.recording_s for record in history}):
        stepped = alerts_after(stepped, history, recording_s=recording_s)
    assert stepped == alerts


def test_the_order_of_storing_makes_no_difference(history, alerts):
    assert alerts_of(history[::-1]) == alerts


def test_what_comes_later_changes_nothing_earlier(history):
    raised = [alert.raised_s for alert in alerts_of(worn(days=22, cleaned_day=99))]
    assert raised == [alert.raised_s for alert in alerts_of(history)]


def test_a_person_may_see_and_act(history, alerts):
    raised_s = alerts[0].raised_s
    said = [
        Told(**at(20, 5), raised_s=raised_s, state="seen"),
        Told(**at(20, 6), raised_s=raised_s + 5.0, state="acted"),
    ]
    told = alerts_of([*history, *said])
    assert told[0].seen_s == pytest.approx(START_S + 20 * DAY_S + 300)
    assert told[0].acted_s == alerts[0].acted_s


def test_a_service_that_did_not_help_leaves_it_open():
    records = worn(days=34, cleaned_day=99)
    served = Served(**at(26, 5), clamp="B", what="cleaned")
    assert [alert.state for alert in alerts_of([*records, served])] == ["acted"]


def test_a_new_calibration_begins_the_cell_anew():
    rng = np.random.default_rng(4)
    records = [
        r for day in range(40) for r in morning(rng, day, off_pct=0.4 if day >= 28 else 0.0)
    ]
    assert not [a for a in alerts_of(records) if a.cause == "cell-span"]


def test_nothing_raises_nothing(history):
    assert alerts_of([]) == ()
    assert alerts_after((), history, recording_s=START_S + 0.5) == ()
