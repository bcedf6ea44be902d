"""A measured pull in its place: what is answered, and what stays unknown."""

from dataclasses import replace
from math import log10
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.pull import FLAGS, Pull
from tensionlog.pipeline.judge import Bench, Timed, judge_pulls
from tensionlog.plan import Placed, read_ticket
from tensionlog.pulls.lockout import Hold, Law
from tensionlog.pulls.measured import Measured

LAW = Law(share=0.04, tau_s=0.2)
BENCH = Bench(calibrated=True, tail_m=0.3, phi_max=0.95, relaxes=True, laws=())
JOB = read_ticket(
    {
        "ref": "T-1",
        "mains": 6,
        "crosses": 2,
        "target_mains_N": 250.0,
        "target_crosses_N": 240.0,
        "clamps": {"left": "A", "right": "B", "start": "B", "crosses": "AB"},
        "EA_N": 8000.0,
        "spans_m": {"L1": 0.32, "L2": 0.30, "X1": 0.24, "X2": 0.25},
    }
)
HOLD = Hold(
    top=240.0,
    release=232.0,
    u_release=0.03,
    at_3s=237.0,
    drop=8.0,
    u_drop=0.02,
    seen=True,
    release_s=11.5,
    share=0.04,
)
UNSEEN = replace(HOLD, top=239.0, release=239.0, drop=0.01, seen=False, release_s=None)


def measured(hold: Hold | None = HOLD, **changes: Any) -> Measured:
    usual: dict[str, Any] = {
        "boot": 0,
        "start_t": 9.0,
        "top_t": 10.0,
        "release_t": None if hold is None else hold.release_s,
        "shut_t": 13.0,
        "let_off_t": 13.13,
        "peak": 251.0,
        "level": 238.0,
        "held_s": 3.13,
        "hold": hold,
        "idle": 1.5,
        "u_zero": 0.04,
        "noise": 0.05,
        "lifts": 1,
        "cut": False,
        "longest_gap": 0.0125,
        "slow_rate": False,
        "manners": (),
    }
    return Measured(**usual | changes)


def timed(what: Measured, *, at_s: float = 0.0) -> Timed:
    return Timed(
        measured=what,
        start_s=what.start_t + at_s,
        top_s=what.top_t + at_s,
        release_s=None if what.release_t is None else what.release_t + at_s,
        shut_s=what.shut_t + at_s,
        let_off_s=None if what.let_off_t is None else what.let_off_t + at_s,
    )


FIRST = Placed(position="L1", clamp_shut="A", job_number=1)
SECOND = Placed(
    position="L2", held_position="L1", clamp_opened="A", clamp_shut="A", job_number=1
)


def judged(
    *pulls: tuple[Measured, Placed], bench: Bench = BENCH, law: Law | None = LAW
) -> list[Pull]:
    """Pulls a quarter of a minute apart."""
    return judge_pulls(
        [timed(what, at_s=15.0 * i) for i, (what, _) in enumerate(pulls)],
        [place for _, place in pulls],
        [JOB],
        replace(bench, laws=(law,) * len(pulls)),
    )


def second(what: Measured | None = None, place: Placed = SECOND, **how: Any) -> Pull:
    """A pull behind which L1 was pulled in an ordinary way."""
    return judged((measured(), FIRST), (what or measured(), place), **how)[1]


# ------------------------------------------------------------------- what is answered


def test_a_seen_release_is_answered_as_it_was_read():
    pull = second()

    assert (pull.top, pull.release, pull.drop, pull.drop_u) == (240.0, 232.0, 8.0, 0.02)
    assert (pull.release_s, pull.seen) == (26.5, True)
    assert pull.let_off_s == pytest.approx(28.13)
    assert (pull.target, pull.loss, pull.loss_pct) == (250.0, 18.0, pytest.approx(7.2))
    assert pull.release_u == pytest.approx((0.03**2 + 0.04**2) ** 0.5)


def test_an_unseen_release_is_its_estimate_without_a_moment():
    pull = second(measured(UNSEEN))

    assert (pull.seen, pull.release_s, pull.at_least_give_mm) == (False, None, None)
    assert (pull.drop, pull.drop_u) == (0.01, 0.02)
    assert pull.top == pull.release == 239.0


def test_with_nothing_behind_no_release_is_looked_for():
    (pull,) = judged((measured(), FIRST))

    assert (pull.drop, pull.drop_u, pull.seen, pull.release_s) == (None, None, False, None)
    assert pull.top == pull.release
    assert pull.flags == ("no-release",)


def test_where_clamps_have_no_names_the_release_is_looked_for_all_the_same():
    pull = second(place=replace(SECOND, clamp_opened=None, clamp_shut=None))

    assert (pull.seen, pull.drop) == (True, 8.0)
    assert pull.flags == ()


def test_outside_a_job_a_release_is_looked_for_and_no_target_known():
    (pull,) = judged((measured(), Placed()))

    assert (pull.seen, pull.drop, pull.target, pull.expected) == (True, 8.0, None, None)
    assert pull.flags == ()


def test_a_hold_too_short_to_read_leaves_everything_unknown():
    pull = second(measured(None))

    assert (pull.top, pull.release, pull.drop, pull.at_3s) == (None,) * 4
    assert (pull.release_u, pull.loss, pull.loss_pct) == (None,) * 3
    assert pull.flags == ("not-measurable",)


def test_without_a_calibration_there_are_no_newtons_to_compare():
    pull = second(bench=replace(BENCH, calibrated=False))

    assert pull.unit == "counts"
    assert (pull.target, pull.expected, pull.loss, pull.at_least_lost) == (None,) * 4
    assert pull.drop == 8.0


# ----------------------------------------------------------------------- what is expected


@given(share=st.floats(0.01, 0.1), tau_s=st.floats(0.05, 0.5))
def test_expected_is_the_target_relaxed_to_the_release(share: float, tau_s: float):
    pull = second(law=Law(share=share, tau_s=tau_s))

    assert pull.expected == pytest.approx(250.0 * (1.0 - share * log10(1.0 + 1.5 / tau_s)))


def test_unseen_the_target_is_relaxed_to_the_clamp_being_shut():
    pull = second(measured(UNSEEN))

    assert pull.expected == pytest.approx(250.0 * (1.0 - 0.04 * log10(1.0 + 3.0 / 0.2)))


def test_a_head_that_holds_the_force_is_expected_to():
    pull = second(bench=replace(BENCH, relaxes=False))

    assert (pull.expected, pull.relaxation) == (250.0, None)


def test_a_cross_has_its_own_target():
    cross = Placed(position="X1", clamp_shut="A", job_number=1)

    assert judged((measured(), cross))[0].target == 240.0


# ---------------------------------------------------------------------- what was lost


def test_the_bound_on_what_the_clamp_lost_by_hand():
    """L1 was read 1.5 s after its top, at 232 N; L2's clamp was opened 15 s later.

    Relaxation of L1 from 1.5 s to 16.5 s, of its own force at the top; the held force
    with φ 0.95 and L₂/L_b = (0.30 + 0.30)/0.32.
    """
    at_top = 232.0 / (1.0 - 0.04 * log10(1.0 + 1.5 / 0.2))
    since = 0.04 * (log10(1.0 + 16.5 / 0.2) - log10(1.0 + 1.5 / 0.2))
    held = 0.95 * 240.0 - 8.0 * (0.60 / 0.32 + 0.95)
    lost = 232.0 - at_top * since - held

    pull = second()

    assert pull.at_least_lost == pytest.approx(lost)
    assert pull.at_least_give_mm == pytest.approx(1e3 * lost * 0.32 / 8000.0)


@given(st.floats(0.0, 60.0))
def test_what_was_lost_is_never_below_zero(drop: float):
    assert second(measured(replace(HOLD, drop=drop))).at_least_lost >= 0.0


@given(st.floats(0.5, 0.95))
def test_a_lower_limit_of_what_passes_round_the_frame_cannot_lower_the_bound(phi: float):
    assert second(bench=replace(BENCH, phi_max=phi)).at_least_lost >= second().at_least_lost


@pytest.mark.parametrize(
    "how",
    [
        {"bench": replace(BENCH, tail_m=None)},
        {"place": replace(SECOND, held_position="R1")},  # nobody saw R1 handed off
        {"what": measured(UNSEEN)},
    ],
    ids=["no tail", "behind unknown", "unseen"],
)
def test_what_the_bound_needs_and_is_not_known_leaves_it_unknown(how: dict[str, Any]):
    assert second(**how).at_least_lost is None


def test_where_the_head_does_not_show_the_relaxation_the_bound_grants_more_of_it():
    assert second(law=None).at_least_lost < second().at_least_lost


def test_a_lift_off_takes_the_place_of_its_strings_hand_off():
    lift = replace(SECOND, kind="lift-off", position="L1")
    higher = measured(replace(HOLD, release=242.0, top=244.0, drop=2.0))

    plain = judged((measured(), FIRST), (measured(), FIRST), (measured(), SECOND))[2]
    lifted = judged((measured(), FIRST), (higher, lift), (measured(), SECOND))[2]

    assert lifted.at_least_lost == pytest.approx(plain.at_least_lost + 10.0, abs=0.6)
    assert lifted.held_position == "L1"


def test_a_void_pull_that_no_clamp_took_was_not_handed_off():
    void = replace(FIRST, void=True, clamp_shut=None)

    assert judged((measured(), void), (measured(), SECOND))[1].at_least_lost is None


# ---------------------------------------------------------------------- lift-offs


def test_a_lift_off_tells_what_the_string_held_by_hand():
    """T_h = T₁ − drop·(L_b + D)/L_b = 240 − 8·0.62/0.32."""
    lift = replace(SECOND, kind="lift-off", position="L1")

    pull = second(place=lift)

    assert pull.held == pytest.approx(240.0 - 8.0 * 0.62 / 0.32)
    assert pull.at_least_lost is None


def test_only_a_lift_off_says_what_is_held_and_only_when_it_saw_it():
    lift = replace(SECOND, kind="lift-off", position="L1")

    assert second().held is None
    assert second(measured(UNSEEN), place=lift).held is None


# -------------------------------------------------------------------------- flags


def flags(what: Measured, place: Placed = SECOND, **how: Any) -> tuple[str, ...]:
    return second(what, place, **how).flags


@pytest.mark.parametrize(
    ("what", "place", "said"),
    [
        (measured(), SECOND, ()),
        (measured(cut=True, let_off_t=None), SECOND, ("interrupted",)),
        (measured(longest_gap=0.8), SECOND, ("interrupted",)),
        (measured(longest_gap=0.3), SECOND, ()),
        (measured(replace(HOLD, drop=None, seen=False)), SECOND, ("not-measurable",)),
        (measured(), Placed(job_number=1, beyond_plan=True), ("beyond-plan",)),
        (measured(manners=("early-clamp",)), SECOND, ("early-clamp",)),
        (measured(manners=("gripper-slip", "worked-twice")), SECOND, None),
    ],
)
def test_flags_say_what_went_on(what: Measured, place: Placed, said: tuple[str, ...] | None):
    assert flags(what, place) == (what.manners if said is None else said)


def test_a_cross_is_straightened_and_a_main_was_cranked_again():
    pushed = measured(manners=("straightened",))
    cross = replace(SECOND, position="X2", held_position="X1")

    assert flags(pushed, cross) == ("straightened",)
    assert flags(pushed) == ("worked-twice",)
    assert flags(pushed, bench=replace(BENCH, relaxes=False)) == ()


@given(st.sets(st.sampled_from(FLAGS[:6])))
def test_flags_come_in_one_order_whatever_the_traces(manners: set[str]):
    said = flags(measured(manners=tuple(manners)))

    assert list(said) == [f for f in FLAGS if f in said]
