"""Who is pulled when, what is opened for it, and what takes it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin.order import Clamping, Turn, positions, swapped


def walked(order: tuple[str, ...], **clamps: str) -> list[Turn]:
    clamping = Clamping(**clamps)
    turns = []
    for position in order:
        turns.append(clamping.turn(position))
        clamping.shut(position, turns[-1].shuts)
    return turns


def test_alternate_order_goes_out_from_the_centre():
    order = positions(mains=5, crosses=2)

    assert order == ("L1", "R1", "L2", "R2", "R3", "X1", "X2")


def test_one_half_first():
    order = positions(mains=4, crosses=1, order="left-then-right")

    assert order == ("L1", "L2", "R1", "R2", "X1")


@given(mains=st.integers(2, 24), crosses=st.integers(0, 24))
@settings(max_examples=40, deadline=None)
def test_every_string_is_pulled_once(mains: int, crosses: int):
    order = positions(mains=mains, crosses=crosses)

    assert len(set(order)) == len(order) == mains + crosses


def test_the_first_main_opens_nothing_and_the_first_of_the_other_side_its_start():
    first, other, second, *_ = walked(positions(mains=4, crosses=0))

    assert first == Turn("L1", None, None, "A")
    assert other == Turn("R1", "B", "L1", "B")
    assert second == Turn("L2", "A", "L1", "A")


def test_each_side_keeps_its_clamp():
    turns = walked(positions(mains=10, crosses=0), left="B", right="A", start="A")

    assert {t.shuts for t in turns if t.position[0] == "L"} == {"B"}
    assert {t.opens for t in turns[2:] if t.position[0] == "R"} == {"A"}
    assert turns[-1].held == "R4"


def test_crosses_alternate_and_begin_from_a_knot():
    first, second, third = walked(positions(mains=4, crosses=3))[4:]

    assert first == Turn("X1", None, None, "A")
    assert second == Turn("X2", "A", "X1", "B")
    assert third == Turn("X3", "B", "X2", "A")


def test_the_same_string_again_opens_the_clamp_that_took_it():
    clamping = Clamping()
    clamping.shut("L4", "A")

    assert clamping.again("L4") == Turn("L4", "A", "L4", "A")


def test_a_string_taken_by_the_other_clamp_is_found_there():
    clamping = Clamping()
    clamping.shut("X1", "B")

    assert clamping.turn("X2").opens == "B"


@pytest.mark.parametrize("position", ["L1", "R1", "L2"])
def test_exchanging_two_turns_keeps_all_of_them(position: str):
    order = positions(mains=4, crosses=0)

    done = swapped(order, position)

    assert sorted(done) == sorted(order)
    assert done.index(position) == order.index(position) + 1
