"""A morning check played: masses on the cell, then the head's dial."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin import draw_bench, play_check
from tensionlog.twin.head import HEAD_NAMES


def off_by(seed: int, span_error: float):
    drawn = draw_bench(seed)
    return replace(drawn, cell=replace(drawn.cell, span_error=span_error, bow=0.0))


def test_the_same_seed_gives_the_same_bytes():
    first = play_check(seed=3, dials_n=(200.0,))

    assert first.recording == play_check(seed=3, dials_n=(200.0,)).recording
    assert first.recording != play_check(seed=4, dials_n=(200.0,)).recording


def test_the_file_tells_the_check(read_back):
    seen = read_back(play_check(seed=1, masses_kg=(5.0, 10.0, 5.0)))
    start, *_ = seen.notes

    assert seen.header["purpose"] == "check"
    assert [n["note"] for n in seen.notes] == ["check-start", *["load"] * 5, "check-end"]
    assert [n.get("mass_kg") for n in seen.notes[1:-1]] == [0.0, 5.0, 10.0, 5.0, 0.0]
    assert start["masses_kg"] == [5.0, 10.0]
    assert start["gravity"] == 9.8123


def test_a_hung_mass_weighs_what_physics_says():
    """20 kg at standard gravity in air: 196.10358005 N (computed, factor 0.99985)."""
    played = play_check(seed=1, masses_kg=(20.0,), gravity=9.80665)

    assert played.truth["check"]["points"][1]["load_n"] == pytest.approx(196.10358005)


@given(seed=st.integers(0, 300), error=st.floats(-0.02, 0.02))
@settings(max_examples=8, deadline=None)
def test_settled_readings_are_load_times_span_plus_zero(seed: int, error: float, read_back):
    played = play_check(seed=seed, bench=off_by(seed, error), masses_kg=(10.0, 20.0))
    seen, zero = read_back(played), played.truth["check"]["zero_n"]

    for point in played.truth["check"]["points"]:
        reading = seen.level(point["settled_s"], point["until_s"] - 0.1) - zero
        assert reading == pytest.approx(point["load_n"] * (1 + error), abs=0.3)
        assert point["reading_n"] == pytest.approx(point["load_n"] * (1 + error))


def test_a_load_swings_before_it_settles(read_back):
    played = play_check(seed=2, masses_kg=(20.0,))
    seen, point = read_back(played), played.truth["check"]["points"][1]
    early = (seen.t_s > point["settled_s"] - 4.5) & (seen.t_s < point["settled_s"] - 3.5)
    late = (seen.t_s > point["settled_s"]) & (seen.t_s < point["until_s"] - 0.1)

    assert seen.force_n[early].std() > 2 * seen.force_n[late].std()


def test_heavy_plates_pull_harder_than_they_say():
    fair, heavy = (play_check(seed=1, mass_error_pct=e).truth["check"] for e in (0.0, 0.5))

    ratio = heavy["points"][1]["load_n"] / fair["points"][1]["load_n"]
    assert ratio == pytest.approx(1.005)
    assert heavy["mass_error_pct"] == 0.5


@pytest.mark.parametrize("head", HEAD_NAMES)
def test_the_dial_is_tried_after_the_masses(head: str, read_back):
    played = play_check(seed=5, head=head, masses_kg=(10.0,), dials_n=(150.0, 220.0))
    seen = read_back(played)
    dials = [n for n in seen.notes if n["note"] == "dial"]

    assert [n.get("set_N") for n in dials] == [150.0, 220.0, None]
    for pull in played.truth["head"]:
        assert pull["at_3s_n"] == pytest.approx(pull["set_n"], rel=0.1)
        assert pull["peak_n"] >= pull["at_3s_n"] - 0.5


def test_moving_the_cell_to_the_head_moves_its_zero(read_back):
    drawn = draw_bench(6)
    cell = replace(drawn.cell, mounting_n=4.0, hanging_n=-1.0, wander_n_per_rs=0.0)
    played = play_check(seed=6, bench=replace(drawn, cell=cell), dials_n=(200.0,))
    seen, pull = read_back(played), played.truth["head"][0]

    assert seen.level(0.0, 2.0) == pytest.approx(-1.0, abs=0.1)
    assert seen.level(pull["top_s"] - 3.0, pull["top_s"] - 2.0) == pytest.approx(4.0, abs=0.1)
