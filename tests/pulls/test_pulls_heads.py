"""One door to three kinds of head."""

import pytest

from tensionlog.model.recording import HEADS
from tensionlog.pulls.heads import reader_for
from tensionlog.pulls.hold import Law
from tensionlog.pulls.manners import manners_of


def made(sim, pulls: list) -> list:
    return [(s, manners_of(s, relaxes=True)) for s in map(sim.shape, pulls)]


@pytest.mark.parametrize("head", [*HEADS, None, "something-new"])
def test_every_head_has_a_reader_and_an_unknown_one_is_taken_for_a_lockout(head):
    assert reader_for(head).relaxes == (head not in ("constant-pull", "drop-weight"))


@pytest.mark.parametrize("head", HEADS)
def test_before_a_job_was_read_no_law_is_known(head):
    assert reader_for(head).law is None


@pytest.mark.parametrize("head", HEADS)
def test_a_job_without_pulls_teaches_nothing(head):
    reader = reader_for(head)
    reader.learn([], walk=0.0)

    assert reader.law is None


def test_three_holds_teach_no_law_and_four_do(sim):
    holds = made(sim, [sim.pulled(s, dwell_s=2.0) for s in range(4)])
    three, four = reader_for("lockout"), reader_for("lockout")
    three.learn(holds[:3], walk=0.0)
    four.learn(holds, walk=0.0)

    assert three.law is None
    assert isinstance(four.law, Law)


def test_holds_that_follow_no_law_teach_nothing(sim):
    def jagged(t, force):
        return force + 8.0 * ((t * 3.0) % 2.0 > 1.0)

    reader = reader_for("lockout")
    reader.learn(made(sim, [sim.pulled(s, changed=jagged) for s in range(6)]), walk=0.0)

    assert reader.law is None


@pytest.mark.parametrize(("rate_hz", "slow"), [(10.0, True), (80.0, False)])
@pytest.mark.parametrize("head", ["constant-pull", "drop-weight"])
def test_a_head_that_makes_good_its_force_cannot_be_read_at_ten_a_second(
    sim, head, rate_hz, slow
):
    shape = sim.shape(sim.pulled(1, rate_hz=rate_hz))

    assert reader_for(head).too_slow(shape) is slow
    assert not reader_for("lockout").too_slow(shape)
