"""Turn and stiffness tests as guides: their notes stand where the measuring needs them."""

import numpy as np
import pytest

from tensionlog.check.head import HeadPull, analyse_head
from tensionlog.check.setup import setup_from_table
from tensionlog.errors import CalibrationError
from tensionlog.model.guide import Done, Out, Took, Write
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.hold_guide import hold_steps
from tensionlog.pipeline.measure_guide import stiffness_guide, turn_guide

RATE_HZ = 80.0
SETUP = setup_from_table({"hold_target_N": 110.0, "hold_span_m": 0.6})
HEAD = analyse_head([HeadPull(s, 0.98 * s, 0.95 * s) for s in (90.0, 120.0, 220.0)])


def told(guide: Guide, *parts: tuple[float, float]) -> list[tuple[float, Out]]:
    """Levels of (seconds, newtons), a third of a second from each to the next."""
    rng, last, begin = np.random.default_rng(1), parts[0][1], 0
    outs: list[tuple[float, Out]] = []
    for seconds, level in parts:
        n = round(seconds * RATE_HZ)
        force = np.interp(np.arange(n) / RATE_HZ, [0.0, 0.33], [last, level])
        for i, x in enumerate(force + rng.normal(0, 0.05, n)):
            t_s = (begin + i) / RATE_HZ
            outs += [(t_s, out) for out in guide.reading(t_s, float(x))]
        begin, last = begin + n, level
    return outs


def noted(outs: list[tuple[float, Out]]) -> list[tuple[str, float]]:
    return [
        (str(o.body["note"]), round(t - o.ago_s, 1)) for t, o in outs if isinstance(o, Write)
    ]


def test_a_turn_test_begins_before_the_pull_and_ends_before_the_let_off():
    guide = turn_guide(SETUP, HEAD)

    outs = told(guide, (2, 0), (0.5, 9), (6, 1), (13, 85), (3, 1))

    (start, start_s), (end, end_s) = noted(outs)
    assert (start, end) == ("turn-start", "turn-end")
    assert start_s < 8.5 and 14.0 < end_s < 21.5
    body = next(o.body for _, o in outs if isinstance(o, Write))
    assert body["head_N"] == pytest.approx(0.98 * 120.0, rel=0.005)
    assert body["wrap_deg"] == 180.0
    assert isinstance(outs[-1][1], Done) and outs[-1][1].complete


def test_a_turn_test_needs_to_know_what_the_head_pulls():
    with pytest.raises(CalibrationError, match="--part head"):
        turn_guide(SETUP, None)


def test_each_turn_of_the_screw_is_noted_when_the_force_begins_to_change():
    guide = stiffness_guide(SETUP)

    outs = told(
        guide, (2, 0), (0.5, 9), (6, 1), (6, 111), (8, 106), (10, 121), (10, 106), (3, 1)
    )

    notes = noted(outs)
    assert [name for name, _ in notes] == ["stiff-start", "step", "step", "stiff-end"]
    assert [at for _, at in notes[1:3]] == pytest.approx([22.5, 32.5], abs=0.2)
    moved = [
        o.body["moved_mm"] for _, o in outs if isinstance(o, Write) and "moved_mm" in o.body
    ]
    assert moved == [2.0, -2.0]
    assert isinstance(outs[-1][1], Done) and outs[-1][1].complete


def test_a_stiffness_test_needs_a_force():
    with pytest.raises(CalibrationError, match="--hold-target"):
        stiffness_guide(setup_from_table({}))


def test_the_hand_off_is_seen_under_the_clamp_and_noted_within_a_second():
    steps = hold_steps(clamp="A", target_n=110.0, span_m=0.6, watch_s=8.0)

    outs = told(Guide(steps), (3, 0), (6, 111), (11, 105), (5.5, 110), (9, 105), (3, 0))

    notes = noted(outs)
    assert [name for name, _ in notes] == ["hold-start", "hand-off", "re-pull", "hold-end"]
    assert notes[1][1] == pytest.approx(9.1, abs=0.6)
    assert isinstance(outs[-1][1], Done) and outs[-1][1].complete


def test_a_clamp_that_gives_nothing_is_taken_to_hold_after_a_while():
    steps = hold_steps(clamp="A", target_n=110.0, span_m=0.6)

    outs = told(Guide(steps), (3, 0), (14, 111))

    took = [o.step for _, o in outs if isinstance(o, Took)]
    assert took == ["hold-A-pull", "hold-A-off"]
