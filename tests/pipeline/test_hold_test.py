"""A hold test's answer: with what a later comparison needs, or one clear line why not."""

import json

import numpy as np
import pytest

from tensionlog.pipeline.replay import replay
from tensionlog.twin import play_hold


@pytest.fixture(scope="module")
def hold():
    return play_hold(seed=4, observe_s=5.0, re_pull=False)


@pytest.fixture
def answered(hold, tmp_path):
    """Answer the test with its header and its notes changed."""

    def answer(*, header=None, note=lambda body: body):
        rows = []
        for row in hold.recording.split(b"\n"):
            if row.startswith(b"# {") and header:
                row = b"# " + json.dumps(json.loads(row[2:]) | header).encode()
            if row.startswith(b"! "):
                body = note(json.loads(row[2:]))
                if body is None:
                    continue
                row = b"! " + json.dumps(body).encode()
            rows.append(row)
        path = tmp_path / "one.rec"
        path.write_bytes(b"\n".join(rows))
        return replay(path)

    return answer


def started_with(**changes):
    return lambda body: body | changes if body["note"] == "hold-start" else body


def test_the_answer_carries_what_a_comparison_needs(answered, hold):
    answer = answered().tests.hold
    truth = hold.truth["hold"]

    assert answer["target_N"] == pytest.approx(truth["target_n"], abs=0.01)
    assert answer["span_m"] == truth["span_m"]
    assert answer["loss_pct"] == pytest.approx(
        100.0 * answer["hand_off_loss_N"] / answer["pulled_N"]
    )
    assert 0.0 < answer["relaxation_per_decade"] < 0.12
    assert answer["at"].startswith("20")

    # the curve is what the cell read round the hand-off
    curve = answer["curve"]
    force = np.array(curve["force_N"], dtype=float)
    after_3s = round((3.0 - curve["start_s"]) / curve["step_s"])

    assert force[0] == pytest.approx(answer["pulled_N"], abs=3.0)
    assert force[after_3s] == pytest.approx(answer["held_N"], abs=0.5)
    assert len(force) < 110  # it ends where the head pulls again


def test_the_limits_are_those_that_the_bench_sets(answered):
    strict = answered(header={"hold_limits": {"service_mm": 0.01, "odd": 1}}).tests.hold

    assert strict["verdict"] == "service"
    assert (strict["watch_mm"], strict["service_mm"]) == (1.0, 0.01)


def test_a_clamp_that_the_bench_does_not_have_is_one_line(answered):
    whole = answered(header={"clamps": ["A", "B"]}, note=started_with(clamp="C"))

    assert whole.tests.hold is None
    assert whole.warnings == (
        "the hold test gives no answer: this bench has no clamp 'C'. It has A, B: test again "
        "with the right name.",
    )


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"EA_N": None}, "stiffness"),
        ({"span_m": None}, "span"),
        ({"EA_N": "much"}, "stiffness"),
    ],
)
def test_without_stiffness_or_span_there_are_newtons_and_the_reason(answered, changes, why):
    answer = answered(note=started_with(**changes)).tests.hold

    assert answer["give_mm"] is None
    assert answer["hand_off_loss_N"] > 0.0
    assert why in answer["why_no_mm"]


def test_without_a_hand_off_there_is_a_reason_and_no_curve(answered):
    answer = answered(note=lambda b: None if b["note"] == "hand-off" else b).tests.hold

    assert "no hand-off" in answer["problem"]
    assert answer["curve"] is None
