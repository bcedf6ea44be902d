"""Stiffness tests against a spring that relaxes, with its truth."""

import numpy as np
import pytest

from tensionlog.clamps.stiffness import Move, StiffnessResult, measure_stiffness
from tensionlog.errors import ClampError

SPAN_M = 0.6
EA_N = 5400.0


def stretched(moves_mm=(1.0, 1.0), *, relaxation=0.045, seed=1, rate_hz=80.0, takes_s=2.0):
    """A string held at 200 N for five seconds, then moved, seven seconds a move."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(0.0, 12.0 + 9.0 * len(moves_mm), 1.0 / rate_hz)

    def left(at_s):
        return 1.0 - relaxation * np.log10(1.0 + np.maximum(t_s - at_s, 0.0) / 0.2)

    force = np.where(t_s < 2.0, 0.0, 200.0 * left(2.0))
    moves = []
    for i, mm in enumerate(moves_mm):
        begin_s = 8.0 + 9.0 * i
        moves.append(Move(begin_s - 0.3, mm))
        for part_s in np.linspace(begin_s, begin_s + takes_s, 40):
            force += mm * EA_N / SPAN_M / 1000.0 / 40 * (t_s >= part_s) * left(part_s)
    wander = 0.005 / np.sqrt(rate_hz) * np.cumsum(rng.normal(size=len(t_s)))
    force += 0.05 * rng.normal(size=len(t_s)) + wander + 2.0
    return {
        "t_s": t_s,
        "force_n": force,
        "span_m": SPAN_M,
        "moves": moves,
        "end_s": float(t_s[-1]) - 0.5,
    }


@pytest.mark.parametrize("moves_mm", [(2.0,), (1.0, 1.0), (2.0, -2.0), (-1.0, -1.0)])
@pytest.mark.parametrize("relaxation", [0.02, 0.07])
def test_stiffness_is_found_and_covered(moves_mm, relaxation):
    result = measure_stiffness(**stretched(moves_mm, relaxation=relaxation))
    assert abs(result.ea_n - EA_N) < 2.0 * result.u_ea_n
    assert result.u_ea_n < 0.04 * EA_N
    assert len(result.moves) == len(moves_mm)


@pytest.mark.parametrize("takes_s", [0.8, 1.5])
@pytest.mark.parametrize("at_tension", [False, True])
def test_a_step_may_be_noted_once_the_screw_stands_again(takes_s, at_tension):
    told = stretched(takes_s=takes_s, relaxation=0.06)
    told["moves"] = [Move(m.at_s + 0.7 + takes_s, m.moved_mm) for m in told["moves"]]
    if at_tension:
        kept = told["t_s"] > 3.5
        told |= {"t_s": told["t_s"][kept], "force_n": told["force_n"][kept]}
    result = measure_stiffness(**told)
    assert abs(result.ea_n - EA_N) < 2.0 * result.u_ea_n
    assert result.u_ea_n < 0.04 * EA_N


@pytest.mark.parametrize("rate_hz", [10.0, 320.0])
def test_slow_and_fast_converters(rate_hz):
    result = measure_stiffness(**stretched(rate_hz=rate_hz))
    assert abs(result.ea_n - EA_N) < 2.5 * result.u_ea_n


def test_moves_that_disagree_widen_the_uncertainty():
    told = stretched((2.0, 2.0))
    told["moves"] = [told["moves"][0], told["moves"][1]._replace(moved_mm=1.6)]
    assert measure_stiffness(**told).u_ea_n > 2.0 * measure_stiffness(**stretched()).u_ea_n


def test_the_answer_is_the_pinned_one():
    result = StiffnessResult(ea_n=5000.0, u_ea_n=60.0, moves=(5000.0,))
    assert result.answer() == {"EA_N": 5000.0, "u_EA_N": 60.0}


def test_what_is_wrong_is_told():
    good = stretched()
    with pytest.raises(ClampError, match="never moved"):
        measure_stiffness(**{**good, "moves": []})
    with pytest.raises(ClampError, match="length of the span"):
        measure_stiffness(**{**good, "span_m": 0.0})
    with pytest.raises(ClampError, match="hardly changes"):
        measure_stiffness(**{**good, "moves": [Move(14.0, 1.0)], "end_s": 16.0})
    with pytest.raises(ClampError, match="too short"):
        measure_stiffness(**{**good, "moves": [Move(34.0, 1.0)]})


def test_steps_that_follow_too_fast_are_told():
    fast = stretched(takes_s=2.0)
    fast["end_s"] = fast["moves"][1].at_s + 2.9
    with pytest.raises(ClampError, match="too fast"):
        measure_stiffness(**fast)
