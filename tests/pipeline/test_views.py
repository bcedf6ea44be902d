"""The database to the record that a report is drawn from."""

from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest

from tensionlog.pipeline.keeping import keep
from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.views import job_view
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY

CHECK = {"verdict": "good", "span_error_pct": 0.3, "u_span_error_pct": 0.4}


def checked(whole, *, bench="north", hours, **answer):
    """The sitting of a morning check, so many hours before the job."""
    header = replace(
        whole.header, bench=bench, purpose="check", started=FIRST_DAY - timedelta(hours=hours)
    )
    tests = replace(whole.tests, check={**CHECK, **answer})
    return replace(whole, header=header, found=(), jobs=(), runs=(), notes=(), tests=tests)


@pytest.fixture
def whole(short_path):
    return replay(short_path)


@pytest.fixture
def viewed(whole):
    def view(*checks, **asked):
        with Store.memory() as store:
            keep(store, whole, name="short.rec", digest=None)
            for number, check in enumerate(checks):
                keep(store, check, name=f"check{number}.rec", digest=None)
            return job_view(store, store.jobs()[-1], zone=UTC, **asked)

    return view


def test_a_view_holds_the_job_as_it_was_found(viewed, whole):
    view = viewed(unit="lbf")

    assert [f.pull for f in view.pulls] == [f.pull for f in whole.found]
    assert view.job == whole.jobs[0]
    assert view.run == whole.runs[0]
    assert view.ledger == whole.ledger
    assert (view.recording, view.unit, view.recorded_on) == ("short.rec", "lbf", FIRST_DAY)


def test_traces_can_be_put_on_the_recordings_axis(viewed):
    view = viewed()

    found = view.pulls[0]
    t_s = found.trace.t_s + view.boot_starts_s[found.trace.boot]
    assert np.min(np.abs(t_s - found.pull.start_s)) < 1e-5


def test_without_a_check_nobody_knows_how_good_the_calibration_is(viewed):
    view = viewed()

    assert (view.last_check, view.u_calibration_pct) == (None, None)


def test_the_latest_check_of_the_same_bench_before_the_job_counts(viewed, whole):
    view = viewed(
        checked(whole, hours=72, verdict="stop"),
        checked(whole, hours=25),
        checked(whole, hours=1, bench="elsewhere", verdict="adjust"),
        checked(whole, hours=-1, verdict="adjust"),
    )

    assert view.last_check.verdict == "good"
    assert view.last_check.on == "2026-03-01"
    assert view.last_check.age_days == pytest.approx(25 / 24)
    assert view.u_calibration_pct == pytest.approx(0.5)  # 3-4-5


def test_a_check_that_found_no_span_error_says_nothing_of_the_calibration(viewed, whole):
    view = viewed(checked(whole, hours=1, span_error_pct=None, verdict=None))

    assert view.u_calibration_pct is None
    assert view.last_check.verdict == "unfinished"
