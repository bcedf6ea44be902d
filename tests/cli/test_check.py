"""`check`: the guide on the twin, over a pseudo-terminal and in bench time."""

import os

import pytest

from tensionlog.check.setup import setup_from_table
from tensionlog.cli import check as check_module
from tensionlog.cli.demo import FastClock
from tensionlog.cli.guide_keys import GuideKeys
from tensionlog.cli.guide_session import GuideSession, ring
from tensionlog.cli.twin_check import check_on_twin
from tensionlog.model.guide import Ask, Took
from tensionlog.pipeline.capture import Capture
from tensionlog.pipeline.check_guide import calibration_guide, check_guide, hold_steps_for
from tensionlog.pipeline.replay import replay
from tensionlog.recorder import Disk, Recorder
from tensionlog.sources.serial_port import open_port
from tensionlog.twin import draw_bench

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")
TABLE = {
    "masses_kg": [5, 10, 20],
    "mass_class": "M2",
    "gravity": 9.8123,
    "rated_N": 500,
    "daily_kg": [10.0],
}
STARTED_S = 1.7725e9


@pytest.fixture
def set_up(run):
    """A bench that has masses and a calibration, as the commands write it."""
    bench = draw_bench(11)
    assert run("bench", "set", "--name", "north", "--zero-counts", bench.cell.zero_counts,
               "--counts-per-n", bench.cell.counts_per_n).code == 0  # fmt: skip
    ran = run("bench", "check", "--masses", "5,10,20", "--mass-class", "M2",
              "--gravity", "9.8123", "--rated-n", "500", "--daily", "10")  # fmt: skip
    assert ran.code == 0, ran.err
    return bench


def test_the_plan_says_what_will_be_asked_and_how_long_it_takes(run, set_up, tmp_path):
    ran = run("check", "--plan", "--daily", "--no-db")

    assert ran.code == 0
    assert "Hang 10 kg." in ran.out
    assert "About 1." in ran.out
    steps = run("check", "--plan", "--daily", "--no-db", "--json").rows[0]
    assert [step["step"] for step in steps][:3] == ["zero", "load-1", "empty"]


def test_a_bench_without_masses_is_told_how_to_name_them(run):
    assert "tensionlog bench check --masses" in run("check", "--plan", "--no-db").error


def test_daily_and_full_exclude_one_another(run, set_up):
    assert run("check", "--daily", "--full").code == 2


def test_a_check_needs_a_port(run, set_up):
    assert "which port?" in run("check", "--daily").err


def test_too_heavy_a_mass_is_refused_when_it_is_named(run):
    ran = run("bench", "check", "--masses", "5,60", "--rated-n", "500")

    assert "60 kg is 588 N, above" in ran.error


def test_dial_settings_are_given_in_the_unit_of_the_bench(run, set_up):
    run("bench", "check", "--weekly-dials", "20,24,28", "--unit", "lbf")

    table = run("bench", "--json").rows[0]["check"]
    assert table["weekly_dials_N"] == [88.964, 106.757, 124.55]
    assert table["masses_kg"] == [5.0, 10.0, 20.0]


def test_a_daily_check_on_the_twin_takes_less_than_two_and_a_half_minutes(tmp_path):
    """But for the hold test: see the slow form."""
    bench = draw_bench(8)
    guide = check_guide(setup_from_table(TABLE), full=False)

    made = check_on_twin(guide, bench, seed=8, folder=tmp_path, started_s=STARTED_S)

    tests = made.whole.tests
    assert made.bench_s < 100.0
    assert tests.check["verdict"] == "good" and not tests.check["incomplete"]
    error = tests.check["span_error_pct"] - 100 * bench.cell.span_error
    assert abs(error) < 0.06
    assert len(tests.head) == 1 and tests.head[0]["speed"] == "slow"
    assert made.whole.found == ()  # nothing of a check is a pull of a job
    assert replay(made.paths[0]).tests.check == tests.check


@pytest.mark.slow
def test_a_daily_check_with_its_hold_test_takes_less_than_two_and_a_half_minutes(tmp_path):
    setup = setup_from_table({**TABLE, "hold_target_N": 110.0, "hold_EA_N": 2000.0})
    guide = check_guide(setup, full=False, holds=hold_steps_for(setup, "A", full=False))

    made = check_on_twin(guide, draw_bench(8), seed=8, folder=tmp_path, started_s=STARTED_S)

    hold = made.whole.tests.hold
    assert made.bench_s < 150.0
    assert hold["clamp"] == "A" and hold["give_mm"] is not None
    assert replay(made.paths[0]).tests.holds == made.whole.tests.holds


def test_a_check_broken_off_is_kept_and_marked_incomplete(tmp_path):
    guide = check_guide(setup_from_table(TABLE), full=False, parts=["cell"])
    hands = {"keys": [(12.0, "stop")]}

    made = check_on_twin(
        guide, draw_bench(3), seed=3, folder=tmp_path, started_s=STARTED_S, hands=hands
    )

    check = made.whole.tests.check
    assert check["incomplete"] and check["verdict"] is None
    assert "broken off" in check["problem"]
    assert len(check["points"]) == 1


@pytest.mark.slow
def test_a_weekly_check_on_the_twin_takes_less_than_ten_minutes(tmp_path):
    setup = setup_from_table({**TABLE, "hold_target_N": 110.0, "hold_EA_N": 2000.0})
    guide = check_guide(setup, full=True, holds=hold_steps_for(setup, "AB", full=True))

    made = check_on_twin(guide, draw_bench(2), seed=2, folder=tmp_path, started_s=STARTED_S)

    assert made.bench_s < 600.0
    assert made.whole.tests.check["verdict"] == "good"
    assert len(made.whole.tests.head) == 6
    assert [hold["clamp"] for hold in made.whole.tests.holds] == ["A", "B"]


@pytest.mark.slow
def test_a_calibration_on_the_twin_hangs_six_loads_three_times(tmp_path):
    guide = calibration_guide(setup_from_table(TABLE))

    made = check_on_twin(
        guide, draw_bench(3), seed=3, folder=tmp_path, started_s=STARTED_S, calibrated=False
    )

    took = [one for one in made.said if isinstance(one, Took) and one.words == "hang"]
    assert len(took) == 18


@posix
def test_the_command_leads_the_twins_operator_over_a_pseudo_terminal(
    run, set_up, tmp_path, monkeypatch
):
    """The twin hears each ask, as a person would read it, and does what is asked."""
    from tensionlog.twin.hands import draw_hands
    from tensionlog.twin.live_feed import LiveFeed
    from tensionlog.twin.pty_link import served_feed

    clock = FastClock(pace=12.0, lasts_s=60.0)
    feed = LiveFeed(draw_hands(set_up, seed=11), seed=11)

    class Overheard(GuideSession):
        def say(self, said):
            super().say(said)
            if isinstance(said, Ask):
                feed.asked(said, clock.monotonic_s())

    def capture(settings, purpose, folder):
        disk = Disk(utc_s=clock.utc_s, monotonic_s=clock.monotonic_s)
        return Capture(
            port=open_port(settings.port),
            reopen=lambda: open_port(settings.port),
            make_recorder=lambda: Recorder(folder, settings.header(purpose=purpose), disk=disk),
            utc_s=clock.utc_s,
        )

    monkeypatch.setattr(check_module, "GuideSession", Overheard)
    monkeypatch.setattr(check_module, "make_capture", capture)
    with served_feed(feed, clock=clock.monotonic_s) as link:
        ran = run("check", "--daily", "--part", "cell", "--port", link.path, "--folder",
                  tmp_path, "--db", tmp_path / "a.db", "--json")  # fmt: skip

    assert "Hang 10 kg." in ran.err and "The check is done." in ran.err
    (answer,) = ran.rows
    assert answer["check"]["problem"] is None
    assert answer["check"]["verdict"] == "good"
    assert ran.code == 0, ran.err


def test_a_number_is_typed_up_to_enter():
    keys = GuideKeys()

    made = [keys.push(c) for c in "1x12,5\x7f6\r\rq"]

    assert [key for key in made if key is not None] == ["12.6", "next", "stop"]
    assert keys.line("again") == "again" and keys.line("what") is None


def test_what_comes_next_depends_on_what_was_found():
    from tensionlog.pipeline.windows import Tests

    assert "calibration adopt'" in check_module.next_step(Tests(calibration={"name": "x"}))
    assert "adopt --span" in check_module.next_step(Tests(check={"verdict": "adjust"}))
    assert "tensionlog dial" in check_module.next_step(Tests(check={"verdict": "good"}))


def test_the_bell_rings_apart_so_that_each_stroke_is_heard(capsys):
    waits: list[float] = []

    ring(3, sleep=waits.append)

    assert capsys.readouterr().err == "\a\a\a" and len(waits) == 3
