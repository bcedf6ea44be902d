"""Turn test and stiffness test played."""

import pytest

from tensionlog.twin import play_stiffness, play_turn
from tensionlog.twin.head import HEAD_NAMES


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_the_turn_passes_less_at_rest_than_tapped(head: str, read_back):
    played = play_turn(seed=3, head=head)
    seen, truth = read_back(played), played.truth["turn"]
    start, end = seen.notes
    tapped, zero = truth["tapped_s"], played.truth["zero_n"]

    assert (start["note"], end["note"], start["wrap_deg"]) == ("turn-start", "turn-end", 180)
    assert start["head_N"] == pytest.approx(truth["table_n"], rel=0.02)
    assert 0.0 < truth["phi_rest"] < truth["phi_tapped"] < 1.0
    rest = (seen.level(tapped - 0.5, tapped - 0.1) - zero) / truth["head_n"]
    assert rest == pytest.approx(truth["phi_rest"], rel=0.03)


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_moving_the_anchor_gives_the_stiffness_of_the_whole_bench(head: str, read_back):
    played = play_stiffness(seed=4, head=head, moves_mm=(2.0,))
    seen, truth = read_back(played), played.truth["stiffness"]
    start, step, _ = seen.notes
    moved_s = float(step["at"][17:-1]) - 0.25
    slope = (seen.level(moved_s - 1, moved_s) - seen.level(moved_s - 2, moved_s - 1)) / 1.0
    rise = seen.level(moved_s + 4, moved_s + 5) - seen.level(moved_s - 1, moved_s) - 5 * slope

    assert rise / 2e-3 * start["span_m"] == pytest.approx(truth["EA_N"], rel=0.12)
    assert truth["EA_N"] < truth["EA_string_N"]
    assert step["moved_mm"] == 2.0


@pytest.mark.parametrize("play", [play_turn, play_stiffness])
def test_the_same_seed_gives_the_same_bytes(play):
    assert play(seed=2).recording == play(seed=2).recording
    assert play(seed=2).recording != play(seed=3).recording
