"""`demo`: a job on the twin, recorded live by the code that records a real one."""

import os
import time

import pytest

from tensionlog.cli import demo as demo_module
from tensionlog.cli.demo import FastClock, Operator, Script
from tensionlog.model.recording import Arrival
from tensionlog.pipeline.replay import replay
from tensionlog.sources.recording import open_recording

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")


def test_the_clock_runs_as_much_faster_as_it_is_told_and_begins_in_the_past():
    clock = FastClock(pace=1000.0, lasts_s=60.0)
    began_s, utc_s, real_s = clock.monotonic_s(), clock.utc_s(), time.monotonic()
    time.sleep(0.02)

    passed_s = clock.monotonic_s() - began_s
    real_passed_s = time.monotonic() - real_s
    assert passed_s == pytest.approx(1000.0 * real_passed_s, rel=0.2)
    assert clock.utc_s() - utc_s == pytest.approx(passed_s, rel=0.2)
    assert -70.0 < utc_s - time.time() < 1000.0


def test_a_script_is_the_header_and_the_notes_of_a_recording(short_job):
    script = Script(short_job.recording)

    assert script.header["bench"] == "north"
    assert "started" not in script.header
    assert script.notes[0][1]["note"] == "job-start"
    assert [at_s for at_s, _ in script.notes] == sorted(at_s for at_s, _ in script.notes)
    assert all("at" not in body for _, body in script.notes)
    assert script.lasts_s > 40.0


class StoppedClock:
    """A clock that somebody sets."""

    def __init__(self, now_s):
        self.now_s = now_s

    def utc_s(self):
        return self.now_s


class FakeLive:
    """A sitting of which only the first arrival is asked."""

    first_arrival_s = None


def test_the_operator_waits_for_the_first_bytes_and_then_gives_notes_in_time(short_job):
    script, live, clock = Script(short_job.recording), FakeLive(), StoppedClock(1000.0)
    operator = Operator(script, live, clock)
    assert operator.notes() == []

    live.first_arrival_s = 1000.0
    first = operator.notes()
    clock.now_s += script.lasts_s
    rest = operator.notes()

    assert len(first) + len(rest) == len(script.notes)
    assert first[0]["note"] == "job-start"
    assert rest[-1]["note"] == "job-end"
    assert rest[-1]["at"].startswith("1970-01-01T00:17:")
    assert not operator.is_busy()


@pytest.fixture
def short_demo(monkeypatch, short_job):
    monkeypatch.setattr(demo_module, "_play", lambda _seed, _head: short_job)


@posix
def test_a_demo_records_stores_proves_and_reports(run, short_demo, short_job, tmp_path):
    ran = run("demo", "--folder", tmp_path / "d")

    (path,) = (tmp_path / "d").glob("*.rec")
    assert ran.code == 0
    assert "invented" in ran.err
    assert "holds, " in ran.err
    assert "the database agrees" in ran.err
    (page,) = (tmp_path / "d").glob("*.html")
    assert f"Open {page} in a browser" in ran.err
    assert page.with_suffix(".json").exists()
    live = {line.split()[1] for line in ran.out.splitlines() if line.startswith("   ")}
    assert {"L1", "R1", "X1"} <= live
    positions = [found.pull.position for found in replay(path).found]
    assert positions == [pull["position"] for pull in short_job.truth["pulls"]]
    arrivals = [i.at_s for i in open_recording(path) if isinstance(i, Arrival)]
    lasted_s = replay(path).ledger.seconds
    assert arrivals[-1] - arrivals[0] == pytest.approx(lasted_s, abs=15.0)


def test_without_pseudo_terminals_the_demo_streams_over_a_socket(
    run, short_demo, short_job, tmp_path, monkeypatch
):
    monkeypatch.setattr(demo_module, "os", type("Os", (), {"name": "nt"}))

    ran = run("demo", "--folder", tmp_path / "d", "--json")

    (path,) = (tmp_path / "d").glob("*.rec")
    assert ran.code == 0
    assert len(replay(path).found) == len(short_job.truth["pulls"])


@posix
@pytest.mark.slow
@pytest.mark.parametrize("head", ["lockout", "constant-pull", "drop-weight"])
def test_the_whole_demo_takes_less_than_half_a_minute(run, tmp_path, head):
    began_s = time.monotonic()
    ran = run("demo", "--folder", tmp_path / "d", "--head", head)

    assert ran.code == 0
    assert time.monotonic() - began_s < 30.0
