"""The watch: the same alerts at the same times, in whatever order sittings come."""

import numpy as np

from tensionlog.pipeline.status import bench_status
from tensionlog.pipeline.watch import keep_watch
from tensionlog.store import Store

from .conftest import DAY_ONE, Days


def alerts(store, **asked):
    return bench_status(store, "north", **asked)["alerts"]


def test_a_worn_clamp_raises_one_alert_at_the_time_of_a_recording(worn):
    (alert,) = alerts(worn.store)

    assert alert["cause"] == "clamp-B"
    assert "2026-03-13" <= alert["raised"] <= "2026-03-19"
    assert alert["raised"].endswith(":06:00.000000Z")  # the hold test of B
    assert alert["alert"] == f"{alert['raised'][:10]}-clamp-B"
    assert [event.event for event in worn.store.history.events("north")] == ["raised"]
    assert keep_watch(worn.store) == []


def test_sittings_in_any_order_give_the_same_database(worn):
    worn.service(18)
    worn.morning(19)
    keep_watch(worn.store)
    whole = worn.store
    happened, holds, told = (
        whole.history.happened("north"),
        whole.answers("hold"),
        whole.recordings(),
    )

    with Store.memory() as mixed:
        for place, index in enumerate(np.random.default_rng(3).permutation(len(told))):
            one = told[index]
            began_s = one.header.started.timestamp()
            number = mixed.begin(one.header, name=one.name, digest=None)
            mixed.history.add(number, [h for at_s, h in happened if at_s == began_s])
            for hold in holds:
                if hold.recording_id == number:
                    mixed.add_answer(number, "hold", hold.body)
            mixed.finish(number, one.ledger)
            if place % 19 == 0:
                keep_watch(mixed)
        keep_watch(mixed)

        assert mixed.dump() == whole.dump()
    assert '"event": "closed"' in whole.dump()


def test_a_service_acts_on_the_alert_and_a_good_test_closes_it(worn):
    worn.service(18)
    keep_watch(worn.store)
    assert alerts(worn.store)[0]["state"] == "acted"

    worn.morning(19)
    events = keep_watch(worn.store)

    assert [event.event for event in events] == ["closed"]
    assert alerts(worn.store)[0]["closed"].startswith("2026-03-21T07:06")


def test_a_service_that_does_not_help_closes_nothing(worn):
    worn.service(18)
    worn.morning(19, give=(0.9, 1.4))
    keep_watch(worn.store)

    assert alerts(worn.store)[0]["state"] == "acted"


def test_somebody_has_seen_or_acted_on_an_alert(worn):
    raised_s = worn.store.history.events("north")[0].body["raised_s"]
    worn.sitting(18, 70, ("told", {"raised_s": raised_s, "state": "seen"}))
    keep_watch(worn.store)
    assert alerts(worn.store)[0]["state"] == "seen"

    worn.sitting(18, 80, ("told", {"raised_s": raised_s, "state": "acted"}))
    worn.sitting(18, 90, ("told", {"raised_s": raised_s + 7.0, "state": "seen"}))
    keep_watch(worn.store)
    assert alerts(worn.store)[0]["state"] == "acted"
    events = [event.event for event in worn.store.history.events("north")]
    assert events == ["raised", "seen", "acted"]


def test_what_the_cell_did_is_closed_once_another_scale_shows_the_cure(store, days):
    for day in range(14):
        days.morning(day, span=0.0 if day < 9 else 0.8)
    keep_watch(store)
    assert [a["cause"] for a in alerts(store)] == ["cell-span"]

    for day in range(14, 17):
        days.morning(day, calibration="new")
    keep_watch(store)

    assert alerts(store)[0]["state"] == "closed"
    cell = bench_status(store, "north")["cell"]
    assert [one["tests"] for one in cell["series"]] == [3, 3, 0]


def test_a_late_sitting_takes_back_what_came_after_it(worn):
    worn.service(10, minute=90)  # written down late: the clamp was another from then on
    keep_watch(worn.store)

    assert alerts(worn.store) == []


def test_as_it_stood_at_a_time_leaves_out_what_came_later(worn):
    before = bench_status(worn.store, "north", at=DAY_ONE.replace(day=10))

    assert before["alerts"] == []
    assert before["clamps"][1]["tests"] == 8


def test_two_benches_are_two_histories(worn):
    Days(worn.store, bench="south", seed=2).morning(3)
    keep_watch(worn.store)

    assert bench_status(worn.store, "south")["alerts"] == []
    assert worn.store.history.benches() == ["south", "north"]
    assert worn.store.history.unwatched_benches() == []


def test_nothing_going_wrong_raises_nothing(store, days):
    for day in range(24):
        days.morning(day)

    assert keep_watch(store) == []
