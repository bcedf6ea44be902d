"""What passes round the frame: the bench's latest turn test before the sitting, or nothing."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tensionlog.pipeline.phi import Phi, phi_max_of
from tensionlog.pipeline.replay import replay
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY

TURN = {"phi_rest": 0.5, "phi_tapped": 0.8, "u": 0.03}


@pytest.fixture
def turned(short_path):
    """A sitting with a turn test, as if it had been read."""
    whole = replay(short_path)
    return replace(whole, tests=replace(whole.tests, turn=TURN))


def test_the_limit_is_the_larger_share_and_two_uncertainties_more():
    assert phi_max_of(TURN) == pytest.approx(0.86)
    assert phi_max_of({**TURN, "phi_tapped": None}) == pytest.approx(0.56)
    assert phi_max_of({**TURN, "u": None}) == pytest.approx(0.8)


def test_the_limit_is_never_above_one():
    assert phi_max_of({**TURN, "phi_tapped": 0.99}) == 1.0


def test_an_answer_without_a_share_limits_nothing():
    assert phi_max_of({"phi_rest": None, "phi_tapped": None, "u": None}) is None


def test_only_an_earlier_test_of_the_same_bench_is_in_force(turned):
    phi = Phi()
    phi.learn(turned)
    bench, began = turned.header.bench, turned.header.started

    assert phi.in_force(bench, began) is None
    assert phi.in_force(bench, began + timedelta(days=1)) == pytest.approx(0.86)
    assert phi.in_force("elsewhere", began + timedelta(days=1)) is None


def test_of_two_tests_the_later_one_is_in_force_in_whatever_order_they_are_learnt(turned):
    later = replace(
        turned,
        header=replace(turned.header, started=FIRST_DAY + timedelta(days=2)),
        tests=replace(turned.tests, turn={**TURN, "phi_tapped": 0.6}),
    )
    phi = Phi()
    phi.learn(later)
    phi.learn(turned)

    assert phi.in_force("north", FIRST_DAY + timedelta(days=3)) == pytest.approx(0.66)


def test_a_database_remembers_what_was_measured(turned):
    from tensionlog.pipeline.keeping import keep

    with Store.memory() as store:
        keep(store, turned, name="turn.rec", digest=None)
        phi = Phi(store)

    assert phi.in_force("north", FIRST_DAY + timedelta(days=1)) == pytest.approx(0.86)


def test_a_sitting_without_a_turn_test_teaches_nothing(short_path):
    phi = Phi()
    phi.learn(replay(short_path))

    assert phi.in_force("north", FIRST_DAY + timedelta(days=1)) is None
