"""Where every pull belongs, whatever the operator takes back, jumps to or breaks."""

from itertools import takewhile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import PlanError
from tensionlog.plan import Placed, Step, place_pulls, read_ticket

PLAN = ["L1", "R1", "L2", "R2", "L3", "R3", "X1", "X2", "X3", "X4"]


def positions(placed: list[Placed]) -> list[str | None]:
    return [p.position for p in placed if not p.void]


def place(position: str) -> tuple[str, dict[str, str]]:
    return ("place", {"position": position})


def bed_of(placed: list[Placed]) -> list[Placed]:
    """What stays of a job: pulls that are neither void nor lift-offs."""
    return [p for p in placed if not p.void and p.kind == "pull"]


# ------------------------------------------------------------------------------- laws


@given(pulled=st.integers(1, 10), back=st.integers(1, 10))
def test_undoing_n_pulls_and_pulling_on_restores_the_sequence(told, pulled: int, back: int):
    back = min(pulled, back)

    placed = told(*["pull"] * pulled, *["undo"] * back, *["pull"] * (10 - pulled + back))

    assert positions(placed) == PLAN
    assert [p.void for p in placed[:pulled]] == [False] * (pulled - back) + [True] * back


@given(st.lists(st.sampled_from(["pull", "redo", "undo", "hold:redo"]), max_size=30))
def test_whatever_is_taken_back_what_stays_is_the_beginning_of_the_plan(told, words):
    stays = positions(told(*words))
    planned = list(takewhile(lambda p: p is not None, stays))

    assert planned == PLAN[: len(planned)]
    assert stays[len(planned) :] == [None] * (len(stays) - len(planned))


@given(st.lists(st.sampled_from(["pull", "redo", "undo"]), max_size=30))
def test_every_redo_or_undo_that_finds_a_pull_voids_exactly_one(told, words):
    depth = voided = 0
    for word in words:
        if word == "pull":
            depth += 1
        elif depth:
            depth, voided = depth - 1, voided + 1

    assert sum(p.void for p in told(*words)) == voided


@given(taken_back=st.sets(st.integers(0, 9)))
def test_a_pull_made_again_leaves_every_later_string_as_if_it_had_gone_well(told, taken_back):
    words = [w for i in range(10) for w in (["pull", "redo"] * (i in taken_back) + ["pull"])]
    told_well = told(*["pull"] * 10)

    for at, (made, well) in enumerate(zip(bed_of(told(*words)), told_well, strict=True)):
        assert made.position == well.position
        assert made.clamp_shut == well.clamp_shut
        if at not in taken_back:
            assert made == well


@given(st.data())
def test_a_void_pull_made_again_opens_its_own_clamp_or_nothing(told, data):
    at = data.draw(st.integers(0, 9))
    in_hold = data.draw(st.booleans())

    void, again = told(
        *["pull"] * at, *(["hold:redo"] if in_hold else ["pull", "redo"]), "pull"
    )[at:]

    assert (void.position, void.void) == (again.position, True)
    if in_hold:
        assert (void.clamp_shut, again.clamp_opened, again.held_position) == (None, None, None)
    else:
        assert again.clamp_opened == void.clamp_shut is not None
        assert again.held_position == void.position


@given(st.permutations(PLAN))
def test_place_before_every_pull_strings_the_bed_in_any_order(told, order):
    placed = told(*[word for position in order for word in (place(position), "pull")])

    assert positions(placed) == list(order)


@given(st.integers(1, 10), st.integers(0, 9))
def test_after_place_the_plan_goes_on_from_there(told, pulled: int, to: int):
    placed = told(*["pull"] * pulled, place(PLAN[to]), *["pull"] * (10 - to))

    assert positions(placed) == PLAN[:pulled] + PLAN[to:]


@given(st.integers(1, 10))
def test_a_lift_off_is_no_new_position(told, after: int):
    placed = told(*["pull"] * after, "lift-off", "pull", *["pull"] * (10 - after))
    lift = placed.pop(after)

    assert placed == told(*["pull"] * 10)
    assert lift.kind == "lift-off"
    assert lift.position == lift.held_position == PLAN[after - 1]
    assert lift.clamp_opened == lift.clamp_shut == placed[after - 1].clamp_shut


# ------------------------------------------------------------- what is opened and held


def test_each_side_opens_its_own_clamp_and_crosses_take_them_in_turn(told):
    placed = told(*["pull"] * 10)

    assert [(p.position, p.clamp_opened, p.held_position, p.clamp_shut) for p in placed] == [
        ("L1", None, None, "A"),
        ("R1", "C", "L1", "B"),  # the first of the other side: what held the start
        ("L2", "A", "L1", "A"),
        ("R2", "B", "R1", "B"),
        ("L3", "A", "L2", "A"),
        ("R3", "B", "R2", "B"),
        ("X1", None, None, "A"),
        ("X2", "A", "X1", "B"),
        ("X3", "B", "X2", "A"),
        ("X4", "A", "X3", "B"),
    ]


def test_one_side_first_opens_the_start_with_the_other_sides_first_main(told):
    placed = told(*["pull"] * 6, order="left-then-right")

    assert [(p.position, p.clamp_opened, p.held_position) for p in placed] == [
        ("L1", None, None),
        ("L2", "A", "L1"),
        ("L3", "A", "L2"),
        ("R1", "C", "L1"),
        ("R2", "B", "R1"),
        ("R3", "B", "R2"),
    ]


def test_crosses_let_in_among_the_mains_keep_to_their_own_kind(told):
    order = ["R1", "L1", "X1", "X2", "R2", "X3"]
    placed = told(*["pull"] * 6, order=order)

    assert [(p.position, p.clamp_opened, p.held_position) for p in placed] == [
        ("R1", None, None),
        ("L1", "C", "R1"),
        ("X1", None, None),
        ("X2", "A", "X1"),
        ("R2", "B", "R1"),
        ("X3", "B", "X2"),
    ]


def test_without_a_clamp_at_the_start_the_other_sides_first_main_opens_nothing(told):
    clamps = {"left": "A", "right": "B", "crosses": "AB"}
    first_right = told("pull", "pull", clamps=clamps)[1]

    assert (first_right.clamp_opened, first_right.held_position) == (None, None)


def test_where_clamps_have_no_names_the_string_behind_is_known_all_the_same(told):
    placed = told(*["pull"] * 3, clamps=None)

    assert [p.held_position for p in placed] == [None, None, "L1"]
    assert {p.clamp_opened for p in placed} == {None}


def test_a_clamp_note_names_the_one_that_took_the_last_pull(told):
    placed = told("pull", "pull", "pull", ("clamp", {"shut": "D"}), *["pull"] * 4)

    assert placed[2].clamp_shut == "D"
    assert (placed[4].position, placed[4].clamp_opened) == ("L3", "D")
    assert placed[4].clamp_shut == "A"


def test_a_pull_made_again_opens_the_clamp_that_a_note_named(told):
    placed = told("pull", ("clamp", {"shut": "D"}), "redo", "pull")

    assert placed[1].clamp_opened == "D"


@pytest.mark.parametrize("note", [("clamp", {}), ("clamp", {"shut": 3}), ("place", {})])
def test_a_note_without_what_it_needs_changes_nothing(told, note):
    assert told("pull", note, "pull") == told("pull", "pull")


# --------------------------------------------------------------------- taken back


def test_two_undone_strings_are_both_made_again_on_their_own_clamps(told):
    placed = told(*["pull"] * 4, "undo", "undo", "pull", "pull")

    assert [(p.position, p.clamp_opened, p.held_position) for p in placed[4:]] == [
        ("L2", "A", "L2"),
        ("R2", "B", "R2"),
    ]


def test_a_string_made_again_twice_opens_its_clamp_twice(told):
    placed = told("pull", "redo", "pull", "redo", "pull", "pull")

    assert [p.clamp_opened for p in placed[:3]] == [None, "A", "A"]
    assert placed[3].position == "R1"


def test_a_redo_in_the_hold_finds_no_clamp_shut_even_if_an_earlier_one_was(told):
    void, held, again = told("pull", "redo", "hold:redo", "pull")[:3]

    assert void.clamp_shut == held.clamp_opened == "A"
    assert (held.clamp_shut, again.clamp_opened) == (None, None)


def test_a_redo_after_the_stream_broke_off_takes_the_clamp_to_have_been_shut(told):
    cut, again = told("cut", "redo", "pull")

    assert (cut.clamp_shut, again.clamp_opened) == ("A", "A")


def test_a_redo_after_a_lift_off_takes_the_lift_off_back_alone(told):
    pulled, lift, after = told("pull", "lift-off", "pull", "redo", "pull")

    assert (pulled.void, lift.void) == (False, True)
    assert after.position == "R1"


def test_undo_after_a_jump_goes_back_to_before_it(told):
    placed = told("pull", "pull", place("X1"), "pull", "undo", "undo", "pull")

    assert positions(placed) == ["L1", "R1"]


def test_with_nothing_pulled_there_is_nothing_to_take_back(told):
    assert told("redo", "undo", "pull") == told("pull")


def test_a_redo_after_the_end_of_the_job_still_takes_the_last_pull_back(told):
    placed = told(*["pull"] * 10, "job-end", "redo")

    assert [p.void for p in placed] == [False] * 9 + [True]


def test_outside_a_job_a_pull_can_be_taken_back_too():
    steps = [Step(at_s=1.0, pull=0, let_off_s=4.0), Step(at_s=5.0, name="redo")]

    placed, jobs = place_pulls(steps, 1)

    assert placed == [Placed(void=True)]
    assert jobs == []


# --------------------------------------------------------- beyond, broken, begun anew


def test_what_the_plan_has_no_place_for_is_said_to_be_beyond_it(told):
    last = told(*["pull"] * 11)[-1]

    assert last == Placed(beyond_plan=True, job_number=1)


def test_a_pull_beyond_the_plan_can_be_taken_back(told):
    placed = told(*["pull"] * 11, "redo", place("X4"), "pull")

    assert placed[10].void
    assert placed[11].position == "X4"


def test_after_a_string_broke_the_job_begins_anew_in_the_next_bed(told, ticket):
    again = ("job-start", {"job": ticket})
    placed = told("pull", "pull", ("broke", {"position": "R1"}), again, "pull", "pull")

    assert positions(placed) == ["L1", "R1", "L1", "R1"]
    assert [p.bed for p in placed] == [1, 1, 2, 2]
    assert [p.job_number for p in placed] == [1, 1, 2, 2]
    assert placed[2].clamp_opened is None


def test_another_ref_begins_its_own_count_of_beds(told, ticket):
    other = ("job-start", {"job": ticket | {"ref": "T-2"}})

    assert [p.bed for p in told("pull", "job-end", other, "pull")] == [1, 1]


def test_a_redo_does_not_reach_into_the_bed_that_broke(told, ticket):
    placed = told("pull", "broke", ("job-start", {"job": ticket}), "redo", "pull")

    assert not placed[0].void


def test_a_lift_off_before_any_pull_has_no_string(told):
    (lift,) = told("lift-off", "pull")

    assert (lift.kind, lift.position, lift.clamp_opened) == ("lift-off", None, None)


def test_two_lift_offs_in_a_row_read_the_same_string(told):
    placed = told("pull", "lift-off", "pull", "lift-off", "pull", "pull")

    assert [p.held_position for p in placed[1:3]] == ["L1", "L1"]
    assert placed[3].position == "R1"


def test_a_job_start_without_a_ticket_is_refused():
    with pytest.raises(PlanError, match="no ticket"):
        place_pulls([Step(at_s=0.0, name="job-start")], 0)


def test_pulls_before_and_after_a_job_belong_to_none(ticket):
    steps = [
        Step(at_s=0.0, pull=0, let_off_s=1.0),
        Step(at_s=2.0, name="job-start", body={"job": ticket}),
        Step(at_s=3.0, pull=1, let_off_s=4.0),
        Step(at_s=5.0, name="job-end"),
        Step(at_s=6.0, pull=2, let_off_s=7.0),
    ]

    placed, jobs = place_pulls(steps, 3)

    assert [p.job_number for p in placed] == [None, 1, None]
    assert [p.position for p in placed] == [None, "L1", None]
    assert jobs == [read_ticket(ticket)]
