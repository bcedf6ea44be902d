"""The morning check as a guide: what is asked, in which order, and what it writes."""

import pytest

from tensionlog.check.setup import CheckSetup, setup_from_table
from tensionlog.errors import CalibrationError
from tensionlog.model.guide import Done, Out, Refused, Took, Write
from tensionlog.pipeline.check_guide import (
    CALIBRATION_RUNS,
    calibration_guide,
    check_guide,
    hold_steps_for,
)
from tensionlog.pipeline.guide import Guide

MASSES = {"masses_kg": [5, 10, 20], "mass_class": "M2", "gravity": 9.81, "rated_N": 500}


def masses(**more: object) -> CheckSetup:
    return setup_from_table({**MASSES, **more})


def words(guide: Guide) -> list[str]:
    return [ask.words for ask in guide.asks]


def test_an_ordinary_morning_is_short_enough_to_be_made():
    setup = masses(hold_target_N=110.0)
    guide = check_guide(setup, full=False, holds=hold_steps_for(setup, "A", full=False))

    assert words(guide)[:6] == ["zero", "hang", "empty", "mount", "dial", "let-off"]
    assert words(guide)[6] == "hold-mount"
    assert sum(ask.lasts_s for ask in guide.asks) <= 150.0


def test_a_weekly_one_goes_up_and_down_and_pulls_slowly_and_fast_at_three_settings():
    setup = masses(hold_target_N=110.0)
    guide = check_guide(setup, full=True, holds=hold_steps_for(setup, "AB", full=True))

    hung = [ask.values["mass_kg"] for ask in guide.asks if ask.words == "hang"]
    pulls = [
        (ask.values["dial_n"], ask.values["speed"]) for ask in guide.asks if ask.words == "dial"
    ]
    assert words(guide)[0] == "warm-up"
    assert hung == [5, 10, 20, 10, 5]
    assert len(pulls) == 6 and len({set_n for set_n, _ in pulls}) == 3
    assert sum(ask.lasts_s for ask in guide.asks) <= 600.0


def test_where_the_cell_is_checked_in_place_nothing_is_carried_about():
    assert "mount" not in words(check_guide(masses(in_place=True), full=False))


def test_a_mass_above_the_rated_load_is_refused_before_it_is_hung():
    with pytest.raises(CalibrationError, match="20 kg is 196 N, above the cell's rated"):
        masses(rated_N=150)


def test_a_bench_without_any_reference_is_told_what_to_set():
    with pytest.raises(CalibrationError, match="tensionlog bench check"):
        check_guide(setup_from_table({}), full=False)


def test_parts_can_be_made_alone_and_only_the_cell_is_a_check():
    guide = check_guide(masses(), full=False, parts=["head"])

    outs = guide.reading(0.0, 0.0)

    assert words(guide) == ["dial", "let-off"]
    assert not [o for o in outs if isinstance(o, Write) and o.body["note"] == "check-start"]


def test_a_full_calibration_hangs_every_load_three_times():
    guide = calibration_guide(masses())

    hung = [ask.values["mass_kg"] for ask in guide.asks if ask.words == "hang"]
    assert len(hung) == CALIBRATION_RUNS * 6
    assert hung[:6] == sorted(hung[:6]) and len(set(hung)) == 6


def test_a_set_that_gives_too_few_loads_cannot_calibrate():
    with pytest.raises(CalibrationError, match="gives 3 within"):
        calibration_guide(masses(masses_kg=[10, 20]))


def test_the_first_note_carries_all_that_a_replay_needs():
    guide = check_guide(masses(tolerance_pct=0.4), full=True)

    start = next(o for o in guide.reading(0.0, 0.0) if isinstance(o, Write))

    assert start.body["note"] == "check-start"
    assert start.body["part"] == "weekly"
    assert (start.body["rated_N"], start.body["tolerance_pct"]) == (500, 0.4)


def told(guide: Guide, *parts: tuple[float, float], noise: float = 0.05) -> list[Out]:
    """Constant parts of (seconds, reading) with a little of a saw tooth for noise."""
    outs: list[Out] = []
    i = 0
    for seconds, level in parts:
        for _ in range(int(seconds * 80)):
            wave = noise * (((i * 7919) % 13) / 6 - 1)
            outs += guide.reading(i / 80, level + wave)
            i += 1
    return outs


def refusals(outs: list[Out]) -> list[str]:
    return [out.words for out in outs if isinstance(out, Refused)]


def test_swapped_wires_end_the_check_in_one_line():
    guide = check_guide(masses(daily_kg=[10.0]), full=False)

    outs = told(guide, (4, 1.0), (8, -97.0))

    assert refusals(outs) == ["swapped"]
    assert isinstance(outs[-1], Done) and not outs[-1].complete


def test_another_mass_than_asked_for_is_asked_about_and_taken_only_when_confirmed():
    guide = check_guide(masses(daily_kg=[10.0]), full=False)

    outs = told(guide, (4, 0.0), (12, 49.0))
    assert refusals(outs) == ["odd-load"]
    assert len([o for o in outs if isinstance(o, Took)]) == 1

    guide.key("next")
    again = [o for s in range(800) for o in guide.reading(16.1 + s / 80, 49.0 + 0.05 * (s % 2))]
    assert any(isinstance(o, Took) and o.words == "hang" for o in again)


def test_counts_are_told_in_newtons_from_the_first_known_load_on():
    guide = calibration_guide(masses())
    guide._steps = guide._steps[1:4]  # noqa: SLF001  (zero and two loads are enough)

    outs = told(guide, (5, 84_000.0), (12, 84_000.0 + 49.04 * 9000), noise=450.0)

    took = [o for o in outs if isinstance(o, Took)]
    assert [t.unit for t in took] == ["counts", "N"]
    assert took[1].value == pytest.approx(49.04, abs=0.1)
    assert guide.cell.counts_per_n == pytest.approx(9000, rel=0.01)


def test_a_scale_is_read_aloud_and_its_load_acts_when_the_pull_began():
    setup = setup_from_table({"reference": "scale", "u_scale_pct": 0.05, "daily_N": [110.0]})
    guide = check_guide(setup, full=False)

    told(guide, (4, 0.0), (10, 110.0))
    first = guide.key("24.7")  # lb where the set-up says kg
    second = guide.key("11.22")

    assert refusals(first) == ["unlikely"]
    note, took = second[0], second[1]
    assert isinstance(note, Write) and isinstance(took, Took)
    assert note.body == {"note": "load", "force_N": pytest.approx(110.03, abs=0.01)}
    assert guide.cell.t_s - note.ago_s == pytest.approx(4.0, abs=0.2)
