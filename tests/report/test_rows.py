"""Which pull a string was left with, and what it is judged to be."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.report.rounding import Reader
from tensionlog.report.rows import rows, standing, vouched
from tensionlog.report.verdict import verdict_info
from tensionlog.report.words import STATE_WORDS

pulls = st.lists(
    st.fixed_dictionaries(
        {
            "position": st.sampled_from(["L1", "R1", "L2", "X1", "X2", None]),
            "void": st.booleans(),
            "release": st.one_of(st.none(), st.floats(80.0, 120.0)),
            "expected": st.one_of(st.none(), st.floats(100.0, 112.0)),
            "target": st.one_of(st.none(), st.just(110.0)),
            "held_position": st.sampled_from([None, "L1", "X1"]),
            "at_least_lost": st.one_of(st.none(), st.floats(0.0, 30.0)),
            "at_least_give_mm": st.one_of(st.none(), st.floats(0.0, 5.0)),
            "flags": st.sampled_from([(), ("gripper-slip",), ("early-clamp",)]),
        }
    ),
    max_size=12,
)


@given(pulls)
@settings(max_examples=30)
def test_every_pull_is_a_row_and_every_string_stands_at_most_once(make, drawn):
    found = tuple(make.bare(i, **d) for i, d in enumerate(drawn, 1))
    view = make.view(found=found)
    judged = rows(view)
    names = [row.name for row in standing(judged)]
    assert [row.number for row in judged] == [f.number for f in found]
    assert len(names) == len(set(names))
    assert set(names) == {row.name for row in judged if not row.pull.void}
    assert all(row.state in STATE_WORDS for row in judged)


@given(pulls)
@settings(max_examples=30)
def test_within_off_look_and_unjudged_share_the_standing_strings_out(make, drawn):
    view = make.view(found=tuple(make.bare(i, **d) for i, d in enumerate(drawn, 1)))
    verdict = verdict_info(view)
    assert verdict.total == len(standing(rows(view)))
    assert verdict.made == len(drawn)


def judge(make, *found, **changes):
    return rows(make.view(found=found, **changes))


@pytest.mark.parametrize(
    ("release", "state"),
    [(106.0, "within"), (103.9, "within"), (103.8, "off"), (108.2, "off"), (101.7, "look")],
)
def test_a_reading_is_judged_by_its_distance_from_the_expected(make, release, state):
    (row,) = judge(make, make.bare(1, release=release, expected=106.0))
    assert row.state == state
    assert row.off == pytest.approx(release - 106.0)
    assert row.against == "expected"


def test_without_an_expected_reading_the_target_is_the_aim(make):
    (row,) = judge(make, make.bare(1, expected=None, target=110.0, release=104.5))
    assert (row.against, row.off_pct) == ("target", pytest.approx(-5.0))


def test_nothing_to_compare_with_is_not_judged(make):
    bare = (make.bare(1, expected=None, target=None), make.bare(2, "R1", release=None))
    assert [row.state for row in judge(make, *bare)] == ["unjudged", "unjudged"]


@pytest.mark.parametrize("flag", ["gripper-slip", "interrupted"])
def test_a_reading_in_doubt_is_one_to_look_at(make, flag):
    (row,) = judge(make, make.bare(1, flags=(flag,)))
    assert row.state == "look"


def test_a_string_that_its_clamp_let_go_is_looked_at_itself(make):
    telling = {"held_position": "L1", "seen": True, "at_least_lost": 9.0}
    held, telling = judge(
        make, make.bare(1), make.bare(2, "L2", at_least_give_mm=1.2, **telling)
    )
    assert (held.state, held.held_give_mm, held.told_by) == ("look", 1.2, "L2")
    assert telling.state == "within"


def test_the_release_that_told_most_is_the_one_that_counts(make):
    said = [(1, "L1", None, None), (2, "L2", 4.0, 0.6), (3, "L2", 2.0, 0.3)]
    found = [
        make.bare(n, at, held_position="L1" if n > 1 else None, at_least_lost=lost, seen=True)
        for n, at, lost, _ in said
    ]
    assert judge(make, *found)[0].held_lost == 4.0


def test_a_void_pull_tells_nothing_about_the_string_behind(make):
    void = make.bare(2, "L2", void=True, held_position="L1", at_least_lost=9.0)
    assert judge(make, make.bare(1), void)[0].held_lost is None


def test_a_lift_off_replaces_the_first_pull_of_its_string(make):
    first, lift_off = judge(make, make.bare(1), make.bare(2, kind="lift-off", release=105.0))
    assert (first.state, lift_off.stands) == ("superseded", True)


def test_a_second_pull_without_a_reading_does_not_replace_one_with(make):
    first, second = judge(make, make.bare(1), make.bare(2, release=None))
    assert first.stands
    assert second.state == "superseded"


@pytest.mark.parametrize(("known_pct", "u"), [(0.4, 0.5), (0.0, 0.3), (None, 0.34**0.5)])
def test_the_readings_u_holds_the_scales_own_known_or_assumed(make, known_pct, u):
    # 0.3 and 0.4 make 0.5; half a per cent of 100 N is assumed where nobody knows.
    (row,) = judge(
        make, make.bare(1, release=100.0, release_u=0.3), u_calibration_pct=known_pct
    )
    assert row.reading_u == pytest.approx(u)


def test_counts_have_no_scale_to_be_in_doubt_of(make):
    (row,) = judge(make, make.bare(1, unit="counts", release=1e6, release_u=300.0))
    assert row.reading_u == 300.0


@pytest.mark.parametrize(("at_least", "said"), [(0.0, False), (0.04, False), (0.06, True)])
def test_a_lower_bound_that_prints_as_zero_is_not_said(at_least, said):
    assert vouched(at_least, Reader("N")) is said


def test_an_unseen_step_is_below_its_estimate_plus_two_u(make):
    found = (
        make.bare(1, drop=0.01, drop_u=0.02),
        make.bare(2, "R1", drop=-0.03, drop_u=0.02),
        make.bare(3, "L2", drop=1.0, drop_u=0.02, seen=True),
        make.bare(4, "R2", drop=None, drop_u=None),
    )
    below = [row.drop_below for row in judge(make, *found)]
    assert below == [pytest.approx(0.05), pytest.approx(0.04), None, None]


def test_counts_have_no_loss_even_where_a_target_stands(make):
    (row,) = judge(make, make.bare(1, unit="counts", target=110.0, release=900_000.0))
    assert (row.loss, row.loss_pct, row.off, row.state) == (None, None, None, "unjudged")


def test_evenness_compares_mains_with_mains_and_crosses_with_crosses(make):
    readings = {"L1": 100.0, "R1": 110.0, "L2": 105.0, "X1": 50.0}
    found = [make.bare(i, at, release=r) for i, (at, r) in enumerate(readings.items(), 1)]
    even = [row.even_pct for row in judge(make, *found)]
    assert even == pytest.approx([-100 / 21, 100 / 21, 0.0, 0.0])


def test_pulls_of_another_job_of_the_recording_are_left_out(make, badminton):
    run = make.run(number=2)
    assert rows(make.view(run=run, found=badminton.found)) == ()
