"""A hold test played: hand-off, watching alone, the second pull, the end."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin import draw_bench, play_hold
from tensionlog.twin.head import HEAD_NAMES
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import draw_string

REEL = draw_string(stream(1, "control"), sport="tennis", law="log")


def bench(seed: int = 1, *, head: str = "lockout", **clamp: float):
    drawn = draw_bench(seed, head=head)
    return drawn.with_clamp(replace(drawn.clamps["A"], **clamp))


def notes_of(seen) -> list[str]:
    return [note["note"] for note in seen.notes]


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_the_same_seed_gives_the_same_bytes(head: str):
    assert play_hold(seed=3, head=head).recording == play_hold(seed=3, head=head).recording


def test_the_file_tells_the_test(read_back):
    seen = read_back(play_hold(seed=2, clamp="B"))

    assert seen.header["purpose"] == "hold"
    assert notes_of(seen) == ["hold-start", "hand-off", "re-pull", "hold-end"]
    assert seen.notes[0]["clamp"] == "B"
    assert {"target_N", "span_m", "EA_N", "u_EA_pct"} <= set(seen.notes[0])


def test_the_hand_off_is_noted_within_a_second(read_back):
    for seed in range(4):
        played = play_hold(seed=seed)
        at = read_back(played).notes[1]["at"]
        noted_s = float(at[17:-1]) + 60 * float(at[14:16]) - 0.25
        assert abs(noted_s - played.truth["hold"]["hand_off_s"]) <= 1.0


@given(seed=st.integers(0, 200), slip=st.floats(0.0, 2.0), head=st.sampled_from(HEAD_NAMES))
@settings(max_examples=15, deadline=None)
def test_the_truth_of_the_hand_off_adds_up(seed: int, slip: float, head: str):
    played = play_hold(seed=seed, bench=bench(seed, head=head, slip_mm=slip))
    truth = played.truth["hold"]
    scale = 1 + played.truth["span_error_pct"] / 100

    assert truth["give_mm"] == pytest.approx(truth["slip_mm"] + truth["flex_mm"])
    assert truth["hand_off_loss_n"] / scale == pytest.approx(
        truth["give_mm"] * truth["n_per_mm"], rel=0.01
    )
    after_n = truth["before_n"] - truth["hand_off_loss_n"]
    assert truth["held_n"] == pytest.approx(after_n, rel=0.06)


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_the_readings_are_the_truth(head: str, read_back):
    played = play_hold(seed=4, bench=bench(4, head=head, slip_mm=0.6), string=REEL)
    seen, truth = read_back(played), played.truth["hold"]
    at, zero = truth["hand_off_s"], played.truth["zero_n"]

    assert seen.level(at + 2.9, at + 3.1) - zero == pytest.approx(truth["held_n"], abs=0.2)
    assert seen.level(0.0, 1.5) == pytest.approx(zero, abs=0.1)
    assert seen.force_n[-80:].mean() == pytest.approx(zero, abs=0.3)


def test_the_second_pull_brings_the_flex_back_and_not_the_slip(read_back):
    played = play_hold(seed=5, bench=bench(5, slip_mm=1.2, returns=1.0), string=REEL)
    seen, truth = read_back(played), played.truth["hold"]
    again = truth["re_pull_s"]

    back = seen.level(again + 2.5, again + 3.0) - seen.level(again - 2.0, again - 1.0)

    assert back / truth["n_per_mm"] == pytest.approx(truth["flex_mm"], rel=0.15)
    assert truth["second_slip_mm"] < 0.15 * truth["slip_mm"]


def test_without_a_second_pull_there_is_none(read_back):
    played = play_hold(seed=5, re_pull=False)

    assert played.truth["hold"]["re_pull_s"] is None
    assert "re-pull" not in notes_of(read_back(played))


def test_a_creeping_clamp_runs_beyond_the_relaxation(read_back):
    still = bench(6, creep_mm_per_s=0.0)
    creeping = bench(6, creep_mm_per_s=0.02)
    slow, fast = (
        play_hold(seed=6, bench=b, string=REEL, re_pull=False) for b in (still, creeping)
    )
    at = slow.truth["hold"]["hand_off_s"]

    lost = [
        read_back(p).level(at + 1, at + 2) - read_back(p).level(at + 18, at + 19)
        for p in (slow, fast)
    ]

    per_s = (lost[1] - lost[0]) / 17.0
    assert per_s == pytest.approx(fast.truth["hold"]["creep_n_per_s"], rel=0.15)
    assert slow.truth["hold"]["creep_n_per_s"] == 0.0


def test_stick_slips_are_in_the_trace_where_the_truth_has_them(read_back):
    sticky = bench(7, steps_per_s=0.2, step_mm=0.3, slip_mm=0.1)
    played = play_hold(seed=7, bench=sticky, string=REEL, re_pull=False)
    seen, truth = read_back(played), played.truth["hold"]

    assert truth["slips"]
    for slip in truth["slips"]:
        at = truth["hand_off_s"] + slip["time_s"]
        fell = seen.level(at - 0.3, at) - seen.level(at + 0.1, at + 0.4)
        assert fell == pytest.approx(slip["size_n"], abs=0.6)


def test_a_plain_test_of_badminton_string_is_gentler():
    racket = play_hold(seed=1, sport="badminton").truth["hold"]

    assert 90.0 < racket["target_n"] < 135.0
    assert play_hold(seed=1, target_n=150.0, span_m=0.5).truth["hold"]["span_m"] == 0.5
