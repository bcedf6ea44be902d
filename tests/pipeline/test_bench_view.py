"""The database to the maintenance page's record, and to the page."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tensionlog.model.history import Evidence
from tensionlog.pipeline.bench_view import bench_view
from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.watch import keep_watch
from tensionlog.report.clamp_page import clamp_page

NOW = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
SAID = Evidence(
    job_number=1, clamp="A", releases=9, could_show=7, seen=2, dead_band_n=6.5,
    dead_band_mm=0.5, most_mm=None,
)  # fmt: skip


def view(store):
    keep_watch(store)
    return bench_view(store, "north", at=NOW)


def test_gives_with_their_services_alerts_and_levels(worn):
    worn.service(18)
    worn.morning(19)
    made = view(worn.store)

    give = made.gives["B"]
    assert len(give.values) == 19
    assert [mark.said for mark in give.marks] == ["cleaned"]
    assert [len(made.gives[name].levels) for name in "AB"] == [1, 2]
    ((raised_s, closed_s),) = give.alerts
    assert raised_s < closed_s
    assert give.limits == ((1.0, "watch"), (1.8, "service"))
    assert made.drifts[0].name == "Zero of the cell"
    assert [one["what"] for one in made.services] == ["cleaned"]
    assert "Clamp B gives" in clamp_page(made)


@pytest.fixture
def curved(store, days):
    """Hold tests of clamp A with their curves; the last one at another force is another."""

    def hold(day, give_mm, *, force_n=120.0):
        days.hold(day, "A", give_mm, target_n=force_n)
        (number,) = [r.recording_id for r in store.recordings() if r.name == f"{day}-5.rec"]
        curve = {"start_s": -1.0, "step_s": 0.2, "force_N": [100.0, None, 100.0 - give_mm]}
        body = {"clamp": "A", "target_N": force_n, "pulled_N": 100.0, "curve": curve}
        store.add_answer(number, "hold", {**store.history.last_hold("north", "A"), **body})

    return hold


def test_the_latest_curve_over_those_at_its_force_since_the_last_service(curved, days, store):
    curved(0, 5.0)
    days.service(1, clamp="A")
    for day, mm in enumerate((1.0, 2.0, 3.0), start=2):
        curved(day, mm)
    curved(5, 9.0, force_n=90.0)
    curved(6, 4.0)

    held = view(store).held["A"]
    assert held.latest == (0.0, None, 4.0)
    assert held.tests == 3
    assert (held.low[2], held.middle[2], held.high[2]) == (1.0, 2.0, 3.0)
    assert held.low[1] is None
    assert (held.latest_on, held.force_n) == ("2026-03-08", 120.0)
    assert view(store).other_force == 1


def test_a_clamp_without_curves_has_none(worn):
    assert view(worn.store).held == {}


def test_what_the_latest_jobs_said_is_added_up(store, days, short_path):
    job = replay(short_path).runs[0]
    for day, seen in ((0, 2), (1, 0)):
        number = days.sitting(day)
        store.add_job(number, job)
        store.history.add_evidence(number, [replace(SAID, seen=seen)])

    (one,) = view(store).in_jobs
    assert (one.clamp, one.jobs, one.could_show, one.seen) == ("A", 2, 14, 2)
    assert one.low < 2 / 14 < one.high
    blind = replace(SAID, could_show=0, seen=0, clamp="B")
    store.history.add_evidence(number, [blind])
    assert view(store).in_jobs[1].low is None
