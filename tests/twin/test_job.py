"""A job played: the file says what happened, and the truth says it better."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import Event
from tensionlog.twin import Played, draw_bench, play_job
from tensionlog.twin.head import HEAD_NAMES
from tensionlog.twin.mishap import MISHAPS
from tensionlog.twin.played import PLAIN_PATTERN

pytestmark = pytest.mark.long

CALM = {"knocks": 0.0, "tugs": 0.0, "plucks": 0.0, "early": 0.0, "again": 0.0, "slack": 0.0}


def bench(seed: int = 1, *, head: str = "lockout", rate_hz: float = 20.0, **habits: float):
    drawn = draw_bench(seed, head=head, rate_hz=rate_hz)
    return replace(drawn, stringer=replace(drawn.stringer, **{**CALM, **habits}))


def short(seed: int = 1, **how: object) -> Played:
    defaults = {"mains": 6, "crosses": 3, "pace": 0.0, "bench": bench(seed)}
    return play_job(seed=seed, **{**defaults, **how})


def by_position(played: Played) -> dict[str, dict]:
    return {pull["position"]: pull for pull in played.truth["pulls"]}


def notes_of(played: Played, read_back) -> list[str]:
    return [note["note"] for note in read_back(played).notes]


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_the_same_seed_gives_the_same_bytes(head: str):
    again = {"seed": 5, "head": head, "mains": 4, "crosses": 2, "pace": 0.0}

    first, second = play_job(**again), play_job(**again)

    assert first.recording == second.recording
    assert first.truth == second.truth
    assert play_job(**{**again, "seed": 6}).recording != first.recording


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_another_rate_leaves_what_the_hands_do_alone(head: str):
    fast, slow = (
        short(2, bench=replace(bench(2, head=head), device=bench(2, rate_hz=hz).device))
        for hz in (160.0, 10.0)
    )

    for a, b in zip(fast.truth["pulls"], slow.truth["pulls"], strict=True):
        assert a["start_s"] == b["start_s"]
        assert a["drop_n"] == b["drop_n"]
        assert a["peak_n"] == b["peak_n"]
    assert fast.truth["samples"] > 15 * slow.truth["samples"]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("head", "off_n"), [("lockout", 0.4), ("constant-pull", 2.5)])
def test_the_readings_are_the_truth_and_the_idle_reading(
    seed: int, head: str, off_n: float, read_back
):
    played = short(seed, bench=bench(seed, head=head, rate_hz=80.0, straightens=0.0))
    seen = read_back(played)

    for pull in played.truth["pulls"]:
        calm_s, start_s = pull["shut_s"] - 0.05, pull["start_s"]
        reading = seen.level(calm_s - 0.15, calm_s) - pull["idle_n"]
        assert reading == pytest.approx(pull["shut_n"], abs=off_n)
        assert seen.level(start_s - 1.0, start_s) == pytest.approx(pull["idle_n"], abs=0.15)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_bar_swings_as_high_as_the_truth_says(seed: int, read_back):
    played = short(seed, bench=bench(seed, head="drop-weight", rate_hz=80.0, straightens=0.0))
    seen = read_back(played)

    for pull in played.truth["pulls"]:
        inside = (seen.t_s > pull["start_s"]) & (seen.t_s < pull["shut_s"])
        highest = seen.force_n[inside].max() - pull["idle_n"]
        assert highest == pytest.approx(pull["peak_n"], abs=1.0)


def test_a_worn_clamp_shows_and_the_step_in_the_file_is_the_step_in_the_truth(read_back):
    """On a lockout trace: means before and after, relaxation of 0.2 s taken out by eye."""
    sound = bench(4, rate_hz=80.0, straightens=0.0)
    worn = replace(sound.clamps["B"], slip_mm=4.5, scatter=0.1)
    played = short(4, bench=sound.with_clamp(worn), mains=14, crosses=0)
    seen = read_back(played)
    drops = {p["position"]: p["drop_n"] for p in played.truth["pulls"] if p["clamp_opened"]}
    behind_b = [p for p in played.truth["pulls"] if p["drop_n"] and p["clamp_opened"] == "B"]

    assert len(behind_b) >= 4
    weakest = sorted(p["drop_n"] for p in behind_b)[len(behind_b) // 2]
    assert weakest > 3 * max(d for at, d in drops.items() if at[0] == "L")
    for pull in behind_b:
        at = pull["release_s"]
        step = seen.level(at - 0.2, at) - seen.level(at + 0.1, at + 0.3)
        assert step == pytest.approx(pull["drop_n"], abs=1.5)


def test_a_drop_tells_about_the_string_behind():
    played = short(4, bench=bench(4), mains=10)

    for pull in played.truth["pulls"]:
        assert (pull["drop_n"] is None) == (pull["held_position"] is None)
        if pull["behind"]:
            assert pull["behind"]["held_n"] < pull["behind"]["hand_off_n"]
            assert 0.0 < pull["behind"]["phi"] <= 0.965


@given(seed=st.integers(0, 400), head=st.sampled_from(HEAD_NAMES))
@settings(max_examples=12, deadline=None)
def test_the_moments_of_a_pull_come_in_order(seed: int, head: str):
    played = play_job(seed=seed, head=head, mains=4, crosses=2, pace=0.0, rate_hz=10.0)
    before_s = 0.0

    for pull in played.truth["pulls"]:
        released = pull["release_s"] or pull["top_s"]
        moments = [before_s, pull["slack_s"] or pull["start_s"], pull["start_s"]]
        moments += [pull["top_s"], released, pull["shut_s"], pull["let_off_s"]]
        assert moments == sorted(moments)
        assert pull["start_s"] <= pull["top98_s"] <= pull["let_off_s"]
        settled = pull["shut_s"] >= pull["top98_s"]  # shut before, the head was still rising
        assert pull["release_n"] <= pull["peak_n"] + 1e-9 or not settled
        before_s = pull["let_off_s"]


def test_the_file_carries_the_ticket_and_the_inspections(read_back):
    seen = read_back(short(3))
    job = seen.notes[0]["job"]

    assert seen.header["purpose"] == "job"
    assert seen.header["tensioner"] == "lockout"
    assert (job["mains"], job["crosses"]) == (6, 3)
    assert {"ref", "target_mains_N", "clamps", "EA_N", "head_long_m"} <= set(job)
    assert [n["note"] for n in seen.notes].count("inspect") == 4
    assert seen.notes[-1]["note"] == "job-end"


def test_truth_is_ready_for_json():
    truth = short(3, mishaps={"L2": "lift-off"}).truth

    assert json.loads(json.dumps(truth, allow_nan=False)) == truth


def test_a_redone_pull_is_void_and_opens_its_own_clamp():
    pulls = short(1, mishaps={"L2": "redo"}).truth["pulls"]
    void, again, after = pulls[2:5]

    assert (void["position"], void["void"]) == ("L2", True)
    assert (again["position"], again["held_position"]) == ("L2", "L2")
    assert again["clamp_opened"] == void["clamp_shut"] == "A"
    assert void["peak_n"] < 0.93 * again["peak_n"]
    assert after["position"] == "R2"


def test_redo_comes_by_note_or_by_button(read_back):
    ways = set()
    for seed in range(6):
        seen = read_back(short(seed, mains=4, crosses=0, mishaps={"L2": "redo"}))
        by_note = "redo" in [n["note"] for n in seen.notes]
        by_button = any(isinstance(x, Event) and x.name == "redo" for x in seen.lines)
        assert by_note != by_button
        ways.add(by_note)

    assert ways == {True, False}


def test_undo_is_noted_and_the_string_pulled_again(read_back):
    played = short(1, mishaps={"R2": "undo"})

    assert "undo" in notes_of(played, read_back)
    assert [p["void"] for p in played.truth["pulls"] if p["position"] == "R2"] == [True, False]


def test_a_lift_off_reads_what_the_string_holds():
    pulls = short(1, mishaps={"L2": "lift-off"}).truth["pulls"]
    lift = next(p for p in pulls if p["kind"] == "lift-off")

    assert lift["position"] == lift["held_position"] == "L2"
    assert lift["behind"]["phi"] > 0.88
    assert lift["behind"]["head_side_m"] < lift["behind"]["head_side_m"] + 0.2
    assert lift["void"] is False


def test_swapped_strings_are_placed(read_back):
    played = short(1, mains=8, mishaps={"L2": "swap"})
    order = [p["position"] for p in played.truth["pulls"]]
    placed = [n["position"] for n in read_back(played).notes if n["note"] == "place"]

    assert order[:6] == ["L1", "R1", "R2", "L2", "L3", "R3"]
    assert placed == ["R2", "L2", "L3"]


def test_a_cross_taken_by_the_other_clamp_is_noted(read_back):
    played = short(1, mishaps={"X2": "wrong-clamp"})
    pulls = by_position(played)

    assert pulls["X2"]["clamp_shut"] == pulls["X3"]["clamp_opened"] == "A"
    assert {"note": "clamp", "shut": "A"}.items() <= next(
        n for n in read_back(played).notes if n["note"] == "clamp"
    ).items()


def test_a_broken_string_ends_the_bed_and_the_job_begins_again(read_back):
    played = short(1, mishaps={"R2": "broke"})
    pulls = played.truth["pulls"]
    starts = [n for n in read_back(played).notes if n["note"] == "job-start"]

    assert [p["bed"] for p in pulls] == [1] * 4 + [2] * 9
    assert pulls[3]["clamp_shut"] is None
    assert pulls[4]["position"] == "L1"
    assert starts[0]["job"]["ref"] == starts[1]["job"]["ref"]


def test_a_pull_that_nobody_planned_has_no_position():
    last = short(1, mishaps={"end": "extra"}).truth["pulls"][-1]

    assert last["position"] is None
    assert last["flags"] == ["beyond-plan"]


@pytest.mark.parametrize(
    ("mishap", "flag"),
    [
        ("early", "early-clamp"),
        ("no-release", "no-release"),
        ("grip-slip", "gripper-slip"),
        ("hold-slip", "gripper-slip"),
        ("again", "worked-twice"),
    ],
)
def test_a_mishap_is_flagged(mishap: str, flag: str):
    pulls = by_position(short(1, mishaps={"L3": mishap}))

    assert pulls["L3"]["flags"] == [flag]
    assert pulls["R3"]["flags"] == []


@pytest.mark.parametrize("mishap", sorted(MISHAPS))
def test_every_mishap_can_be_played_on_every_head(mishap: str):
    at = {"extra": "end", "wrong-clamp": "X2"}.get(mishap, "R1")
    for head in HEAD_NAMES:
        played = short(2, bench=bench(2, head=head), mains=2, crosses=2, mishaps={at: mishap})
        assert len(played.truth["pulls"]) >= 4


def test_a_boosted_pull_is_harder_by_a_tenth():
    pulls = by_position(short(1, mishaps={"R3": "boost"}))

    assert pulls["R3"]["set_n"] == pytest.approx(1.1 * pulls["R3"]["target_n"])


def test_a_sitting_can_be_broken_off(read_back):
    played = short(1, at_most=4)

    assert len(played.truth["pulls"]) == 4
    assert "job-end" not in notes_of(played, read_back)


def test_levers_say_when_clamps_are_worked(read_back):
    played = short(1, bench=replace(bench(1), has_levers=True), mains=4, crosses=0)
    names = [x.name for x in read_back(played).lines if isinstance(x, Event)]

    assert names == ["shut-A", "open-B", "shut-B", "open-A", "shut-A", "open-B", "shut-B"]


@pytest.mark.parametrize(
    ("unit", "newtons"), [("N", 1.0), ("kgf", 9.80665), ("lbf", 4.4482216)]
)
def test_another_sketch_gives_the_same_forces_in_its_unit(unit: str, newtons: float):
    played = short(1, plain_unit=unit, mains=4, crosses=0)
    header = json.loads(played.recording.split(b"\n")[1][2:])
    found = re.findall(PLAIN_PATTERN, played.recording.decode())
    peak = max(float(value) for value, _ in found) * newtons
    expected = max(p["peak_n"] for p in played.truth["pulls"]) + played.truth["zero_n"]

    assert (header["dialect"], header["unit"]) == ("plain", unit)
    assert "calibration" not in header
    assert peak == pytest.approx(expected, rel=0.02)


def test_without_buttons_a_redo_is_always_a_note():
    for seed in range(4):
        played = short(seed, plain_unit="N", mains=4, crosses=0, mishaps={"L2": "redo"})
        assert b'"note": "redo"' in played.recording


def test_a_bench_may_not_know_its_calibration(read_back):
    seen = read_back(short(1, bench=replace(bench(1), knows_calibration=False)))

    assert "calibration" not in seen.header


def test_the_ticket_may_say_otherwise():
    ticket = {"targets": {"L2": 150.0}, "spans_m": {"L1": 0.4}, "sequence": ["L1", "R1", "L2"]}
    pulls = by_position(short(1, ticket=ticket))

    assert list(pulls) == ["L1", "R1", "L2"]
    assert pulls["L2"]["set_n"] == 150.0
    assert pulls["R1"]["behind"]["held_span_m"] == 0.4


def test_a_dialled_correction_is_what_the_head_is_set_to():
    assert {p["set_n"] for p in short(1, ticket={"dial_N": 222.0}).truth["pulls"]} == {222.0}


def test_hands_disturb_the_reading_only_where_the_truth_says_nothing_settled(read_back):
    """Knocks and tugs come between pulls, never within 0.5 s of a start."""
    busy = bench(7, rate_hz=80.0, knocks=3.0, tugs=3.0)
    played = short(7, bench=busy, pace=0.6)
    seen = read_back(played)

    for pull in played.truth["pulls"]:
        quiet = (seen.t_s > pull["start_s"] - 0.5) & (seen.t_s < pull["start_s"])
        assert np.abs(seen.force_n[quiet] - pull["idle_n"]).max() < 0.6


def test_drawn_benches_differ_and_are_repeatable():
    assert draw_bench(1) == draw_bench(1)
    assert draw_bench(1) != draw_bench(2)
    assert draw_bench(1, name="south").device.device.startswith("twin-south-")
