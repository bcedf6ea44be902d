"""A guide leads through its steps; it knows no terminal and no clock."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.guide import Ask, Done, Out, Reading, Refused, Took, Write
from tensionlog.pipeline.guide import SHOW_EVERY_S, Guide
from tensionlog.pipeline.guide_steps import Confirm, LetOff, Pull, Settle, Wait

RATE_HZ = 80.0
Forces = list[tuple[float, float]]


def asked(step: str, words: str = "hang", **more: object) -> Ask:
    return Ask(step=step, words=words, **more)  # type: ignore[arg-type]


def weigh() -> list[Settle]:
    """Zero, one mass, zero again."""
    return [
        Settle(ask=asked("zero-1", "zero", force_n=0.0)),
        Settle(ask=asked("load-1", force_n=98.1), note={"note": "load", "mass_kg": 10}),
        Settle(ask=asked("zero-2", "empty", force_n=0.0), note={"note": "load", "mass_kg": 0}),
    ]


def readings(*parts: tuple[float, float], seed: int = 1, noise: float = 0.05) -> Forces:
    """(seconds, newtons) parts with a ramp of half a second between them."""
    rng, values, last = np.random.default_rng(seed), [], parts[0][1]
    for seconds, force in parts:
        n = round(seconds * RATE_HZ)
        values.append(np.interp(np.arange(n) / RATE_HZ, [0.0, 0.5], [last, force]))
        last = force
    x = np.concatenate(values)
    x = x + rng.normal(0.0, noise, len(x))
    return [(i / RATE_HZ, float(v)) for i, v in enumerate(x)]


def played(guide: Guide, forces: Forces) -> list[tuple[float, Out]]:
    return [(t, out) for t, x in forces for out in guide.reading(t, x)]


def of_kind(said: list[tuple[float, Out]], kind: type) -> list[tuple[float, Out]]:
    return [(t, out) for t, out in said if isinstance(out, kind)]


def test_each_load_is_taken_when_it_is_steady_and_the_next_is_asked_at_once():
    guide = Guide(weigh(), first=[{"note": "check-start"}], last=[{"note": "check-end"}])

    said = played(guide, readings((8, 1.5), (12, 99.6), (12, 1.5)))

    took = [out for _, out in of_kind(said, Took)]
    assert [t.step for t in took] == ["zero-1", "load-1", "zero-2"]  # type: ignore[union-attr]
    assert took[1].value == pytest.approx(98.1, abs=0.1)  # type: ignore[union-attr]
    assert guide.is_over and guide.is_complete
    notes = [out.body["note"] for _, out in of_kind(said, Write)]  # type: ignore[union-attr]
    assert notes == ["check-start", "load", "load", "check-end"]


def test_a_load_note_acts_when_the_hand_began():
    said = played(Guide(weigh()), readings((8, 0.0), (12, 98.1), (12, 0.0)))

    t, write = of_kind(said, Write)[0]

    assert t - write.ago_s == pytest.approx(8.0, abs=0.15)  # type: ignore[union-attr]


def test_the_load_before_is_not_taken_for_the_next():
    """However long the operator fetches the mass, the steady empty cell is not it."""
    said = played(Guide(weigh()), readings((60, 0.0)))

    assert len(of_kind(said, Took)) == 1


def test_a_spike_is_no_load():
    forces = readings((20, 0.0))
    forces[900] = (forces[900][0], 300.0)

    assert not of_kind(played(Guide(weigh()), forces), Write)


def test_a_mass_that_keeps_swinging_is_said_once_and_waited_for():
    forces = readings((6, 0.0), (9, 98.1))
    swung = [(t, x + (12.0 * np.sin(3 * t) if t > 6 else 0.0)) for t, x in forces]

    zero, load, _ = weigh()
    load.patience_s = 5.0

    said = played(Guide([zero, load]), swung)

    refused = [out for _, out in of_kind(said, Refused)]
    assert [r.words for r in refused] == ["unsteady"]  # type: ignore[union-attr]
    assert len(of_kind(said, Took)) == 1


def pulls() -> list[Pull | LetOff]:
    note = {"note": "dial", "set_N": 110.0}
    return [
        Pull(ask=asked("dial-1", "dial", ends="pull", force_n=110.0), note=note, hold_s=3.0),
        LetOff(ask=asked("off-1", "let-off", ends="let-off")),
    ]


def test_a_pull_is_taken_once_it_was_held_and_over_when_the_head_lets_off():
    guide = Guide(pulls())

    said = played(guide, readings((3, 0.0), (6, 108.0), (3, 0.0)))

    (_, took), (_, off) = of_kind(said, Took)
    assert took.value == pytest.approx(108.2, abs=0.3)  # type: ignore[union-attr]
    assert off.step == "off-1" and guide.is_complete  # type: ignore[union-attr]


def test_a_pull_let_off_early_is_asked_for_again():
    said = played(Guide(pulls()), readings((3, 0.0), (1.5, 108.0), (3, 0.0), (6, 108.0)))

    assert [out.words for _, out in of_kind(said, Refused)] == ["let-off-early"]  # type: ignore[union-attr]
    assert len(of_kind(said, Took)) == 1


def test_a_tug_far_below_what_was_asked_for_is_no_pull():
    said = played(Guide(pulls()), readings((3, 0.0), (5, 30.0), (3, 0.0)))

    assert [out.words for _, out in of_kind(said, Refused)] == ["pull-too-low"]  # type: ignore[union-attr]
    assert not of_kind(said, Took)


def test_what_is_left_of_the_pull_before_is_not_the_cell_being_carried():
    """The head lets off as the next clamp is asked for; the hands come a while after."""
    steps = [
        Settle(ask=asked("zero-1", "zero", force_n=0.0)),
        Pull(ask=asked("pull", "hold-pull", ends="pull", force_n=110.0)),
        LetOff(ask=asked("open", "hold-open", ends="let-off", force_n=110.0)),
        Settle(ask=asked("mount", "hold-mount", force_n=0.0), rezero=True),
    ]
    falls = readings((8, 1.5), (7, 111.0), (12, 1.7))
    guide = Guide(steps)

    said = played(guide, falls)
    assert [t.step for _, t in of_kind(said, Took)][-1] == "open"  # type: ignore[attr-defined]

    carried = [(t + 27.0, x) for t, x in readings((1, 1.7), (2, 9.0), (2, 4.0), (12, 0.4))]
    said = played(guide, carried)
    assert [t.step for _, t in of_kind(said, Took)] == ["mount"]  # type: ignore[attr-defined]
    assert guide.cell.zero == pytest.approx(0.4, abs=0.1)


def test_time_and_keys_end_the_steps_that_wait_for_them():
    steps = [
        Wait(ask=asked("wait", ends="time"), seconds=2.0),
        Confirm(ask=asked("mount", ends="key"), note={"note": "mounted"}),
    ]
    guide = Guide(steps)

    said = played(guide, readings((3, 0.0)))
    assert [out.step for _, out in of_kind(said, Took)] == ["wait"]  # type: ignore[union-attr]
    outs = guide.key("next")

    assert Write({"note": "mounted"}) in outs
    assert isinstance(outs[-1], Done) and outs[-1].complete


def test_broken_off_it_says_so_and_writes_no_end():
    guide = Guide(weigh(), last=[{"note": "check-end"}])
    played(guide, readings((8, 0.0)))

    outs = guide.key("stop")

    assert [type(out) for out in outs] == [Done]
    assert not outs[0].complete and not guide.is_complete  # type: ignore[union-attr]
    assert outs[0].values == {"steps": 1, "of": 3}  # type: ignore[union-attr]
    assert guide.reading(99.0, 0.0) == [] and guide.stop() == []


def test_the_reading_is_shown_a_few_times_a_second():
    shown = of_kind(played(Guide(weigh()), readings((5, 0.0))), Reading)

    assert len(shown) == pytest.approx(5 / SHOW_EVERY_S, abs=4)


def test_the_plan_can_be_looked_at_beforehand():
    asks = Guide(weigh()).asks

    assert [(a.step, a.number, a.of) for a in asks] == [
        ("zero-1", 1, 3),
        ("load-1", 2, 3),
        ("zero-2", 3, 3),
    ]


def test_a_fault_is_said_once_a_step():
    guide = Guide(weigh())
    played(guide, readings((1, 0.0)))

    assert [r.words for r in guide.refuse("saturated")] == ["saturated"]  # type: ignore[union-attr]
    assert guide.refuse("saturated") == []


def test_an_ask_ends_in_a_way_that_somebody_waits_for():
    with pytest.raises(ValueError, match="not 'never'"):
        asked("x", ends="never")


@given(st.lists(st.sampled_from(["next", "again", "skip", "stop", "7", "x", "nan"])))
def test_no_keys_can_bring_it_out_of_step(keys: list[str]):
    """Whatever is pressed, every ask is one of the plan and nothing comes after the end."""
    guide = Guide([*weigh(), *pulls()])
    steps = {ask.step for ask in guide.asks}
    guide.reading(0.0, 0.0)

    outs = [out for key in keys for out in guide.key(key)]

    assert {out.step for out in outs if isinstance(out, Ask)} <= steps
    assert sum(isinstance(out, Done) for out in outs) <= 1
