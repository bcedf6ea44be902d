"""What a hold test answers, and by which limits it is judged."""

import json

import pytest

from tensionlog.clamps.hold_result import HoldLimits, HoldResult, StickSlip, judged

PINNED = {
    "clamp",
    "held_N",
    "hand_off_loss_N",
    "u_N",
    "give_mm",
    "u_give_mm",
    "flex_mm",
    "slip_mm",
    "creep_N_per_s",
    "u_creep_N_per_s",
    "slips",
    "verdict",
}


@pytest.mark.parametrize(
    ("give_mm", "creep", "slips", "verdict"),
    [
        (0.99, 0.0, (), "good"),
        (1.0, 0.0, (), "watch"),
        (1.79, 0.0, (), "watch"),
        (1.8, 0.0, (), "service"),
        (0.5, 0.05, (), "good"),
        (0.5, 0.051, (), "watch"),
        (0.5, 0.151, (), "service"),
        (0.5, 0.0, (0.99,), "good"),
        (0.5, 0.0, (1.0,), "watch"),
        (1.9, 0.0, (1.0,), "service"),
        (None, 0.0, (), "good"),
        (None, 0.2, (), "service"),
        (-0.1, -0.1, (), "good"),
    ],
)
def test_verdicts_at_the_pinned_limits(give_mm, creep, slips, verdict):
    got = judged(give_mm=give_mm, creep_n_per_s=creep, slips_n=slips, limits=HoldLimits())
    assert got[0] == verdict
    assert bool(got[1]) == (verdict != "good")


def test_the_bench_sets_its_own_limits():
    strict = HoldLimits(watch_mm=0.5, service_mm=0.9)
    assert judged(give_mm=0.95, creep_n_per_s=0.0, slips_n=(), limits=strict)[0] == "service"


def test_reasons_carry_their_numbers():
    _, reasons = judged(
        give_mm=1.23, creep_n_per_s=0.07, slips_n=(1.5, 2.5), limits=HoldLimits()
    )
    assert reasons == (
        "gives 1.23 mm, watched from 1.00 mm",
        "creeps 0.07 N/s beyond the string's own relaxation",
        "slips in 2 sudden steps, the greatest 2.5 N",
    )


def test_the_answer_holds_every_pinned_key_and_no_nan():
    result = HoldResult(
        clamp="B",
        unit="N",
        target_n=120.0,
        held=100.0,
        loss=10.0,
        pulled=118.0,
        slips=(StickSlip(time_s=2.0, size=1.5, u=0.02),),
    )
    answer = json.loads(json.dumps(result.answer(), allow_nan=False))
    assert answer.keys() >= PINNED
    assert answer["slips"] == [{"time_s": 2.0, "size_N": 1.5}]
    assert result.loss_pct == pytest.approx(8.4746, abs=1e-4)


def test_a_problem_leaves_every_number_null():
    answer = HoldResult(clamp="A", unit="N", target_n=1.0, problem="broke").answer()
    numbers = PINNED - {"clamp", "slips"}
    assert all(answer[name] is None for name in numbers)
    assert answer["problem"] == "broke"
    assert HoldResult(clamp="A", unit="N", target_n=1.0).loss_pct is None
