"""`hold`: guided on the twin, read from recordings, refused in one line."""

import os

import pytest

from tensionlog.cli import check as check_module
from tensionlog.cli import hold as hold_module
from tensionlog.cli.demo import FastClock
from tensionlog.cli.guide_session import GuideSession
from tensionlog.cli.hold import hold_guide
from tensionlog.cli.twin_check import check_on_twin
from tensionlog.model.guide import Ask
from tensionlog.pipeline.capture import Capture
from tensionlog.pipeline.replay import replay
from tensionlog.recorder import Disk, Recorder
from tensionlog.settings import BenchSettings
from tensionlog.sources.serial_port import open_port
from tensionlog.store import Store
from tensionlog.twin import draw_bench, play_hold

TABLE = {"hold_target_N": 110.0, "hold_span_m": 0.6, "hold_EA_N": 2000.0, "hold_u_EA_pct": 5.0}
WANTED = {
    "re_pull": False, "watch_s": 8.0, "target": None, "span_m": None, "ea_n": None,
    "u_ea_pct": None,
}  # fmt: skip
CALIBRATED = {"zero_counts": 84211, "counts_per_N": 9120.0}
BENCH = BenchSettings(check=TABLE, calibration=CALIBRATED)


def on_twin(folder, *clamps, **wanted):
    guide = hold_guide(BENCH, clamps, **{**WANTED, **wanted})
    return check_on_twin(guide, draw_bench(4), seed=4, folder=folder, started_s=1.7725e9)


def test_one_clamp_takes_twenty_seconds_once_it_is_mounted(tmp_path):
    made = on_twin(tmp_path, "A")
    (hold,) = made.whole.tests.holds
    steps = {s.step: s for s in made.said if isinstance(s, Ask)}

    mounting_s = next(s.took_s for s in made.said if getattr(s, "step", "").endswith("mount")
                      and hasattr(s, "took_s"))  # fmt: skip
    assert made.bench_s - mounting_s < 20.0
    assert list(steps) == [f"hold-A-{s}" for s in ("mount", "pull", "off", "watch", "open")]
    assert hold["problem"] is None
    assert hold["give_mm"] > 0.0
    assert hold["flex_mm"] is None
    assert replay(made.paths[0]).tests.holds == made.whole.tests.holds


@pytest.mark.slow
def test_two_clamps_with_a_re_pull_part_flex_from_slip(tmp_path):
    made = on_twin(tmp_path, "A", "B", re_pull=True)

    assert [hold["clamp"] for hold in made.whole.tests.holds] == ["A", "B"]
    assert all(hold["flex_mm"] > 0.1 for hold in made.whole.tests.holds)


def test_tests_are_read_from_recordings(run, tmp_path):
    path = tmp_path / "h.rec"
    path.write_bytes(play_hold(seed=4, clamp="B", observe_s=6.0).recording)
    ran = run("hold", path)

    assert ran.code == 0
    assert ran.out.startswith("Clamp B: ")
    assert run("hold", path, "--json").rows[0]["clamp"] == "B"


def test_a_recording_without_a_test_says_so(run, short_path, tmp_path):
    ran = run("hold", short_path, tmp_path / "none.rec")

    assert ran.code == 1
    assert "short.rec holds no hold test." in ran.err
    assert "none.rec" in ran.err


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ((), "which clamp? Give --clamp; this bench has A, B."),
        (("--clamp", "C"), "this bench has no clamp 'C'. It has A, B;"),
        (("--clamp", "A"), "at which force? Give --target"),
        (("--clamp", "A", "--target", "25", "--watch-s", "1"), "--watch-s is 2 to 120"),
        (("--clamp", "A", "--target", "25"), "which port? Give --port"),
    ],
)
def test_what_is_missing_is_asked_for(run, asked, said):
    ran = run("hold", *asked)

    assert ran.code == 2
    assert said in ran.err


def test_the_command_stores_the_test_and_sets_it_beside_the_clamp_s_history(
    run, tmp_path, monkeypatch
):
    def on_the_twin(guide, settings, *, folder, bell, purpose):
        made = check_on_twin(guide, draw_bench(4), seed=4, folder=folder, started_s=1.7725e9)
        return made.whole, made.paths

    monkeypatch.setattr(hold_module, "run_guided", on_the_twin)
    run("bench", "check", "--hold-target", "110", "--unit", "N", "--hold-ea", "2000")
    run("bench", "set", "--port", "the twin", "--name", draw_bench(4).name)
    ran = run("hold", "--clamp", "B", "--folder", tmp_path, "--db", tmp_path / "a.db")

    assert ran.code == 0, ran.err
    assert ran.out.startswith("Clamp B: ")
    assert "7 more tests before a change can be told" in ran.out
    with Store(tmp_path / "a.db") as store:
        assert store.history.last_hold(draw_bench(4).name, "B")["give_mm"] > 0.0


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")
def test_the_command_leads_through_a_test_over_a_pseudo_terminal(run, tmp_path, monkeypatch):
    """The twin hears each ask, does it, and the test stands in the database."""
    from tensionlog.twin.hands import draw_hands
    from tensionlog.twin.live_feed import LiveFeed
    from tensionlog.twin.pty_link import served_feed

    bench = draw_bench(4)
    clock = FastClock(pace=4.0, lasts_s=60.0)
    feed = LiveFeed(draw_hands(bench, seed=4), seed=4)

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

    run("bench", "set", "--name", "north", "--zero-counts", bench.cell.zero_counts,
        "--counts-per-n", bench.cell.counts_per_n)  # fmt: skip
    monkeypatch.setattr(check_module, "GuideSession", Overheard)
    monkeypatch.setattr(check_module, "make_capture", capture)
    with served_feed(feed, clock=clock.monotonic_s) as link:
        asked = ("--clamp", "B", "--target", "110", "--unit", "N", "--ea-n", "2000")
        ran = run("hold", *asked, "--port", link.path, "--folder", tmp_path,
                  "--db", tmp_path / "a.db")  # fmt: skip

    assert ran.code == 0, ran.err
    assert "Shut clamp B, then let the head off." in ran.err
    assert ran.out.startswith("Clamp B: ")
