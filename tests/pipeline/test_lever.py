"""A lever that marks the release is used in place of the estimate, and the two compared."""

from dataclasses import replace

import pytest

from tensionlog.pipeline.answers import answer
from tensionlog.pipeline.lever import SAME_WITHIN_S, levers_of
from tensionlog.pipeline.replay import replay
from tensionlog.twin import draw_bench, play_job

pytestmark = pytest.mark.long

HEADS = ("lockout", "constant-pull", pytest.param("drop-weight", marks=pytest.mark.slow))
MOMENT_S = 0.02


def read(folder, *, head="lockout", has_levers=True, mains=10, crosses=4):
    """A short job with a worn clamp, as read, and its truth by number of the pull."""
    bench = replace(draw_bench(1, head=head), has_levers=has_levers)
    bench = bench.with_clamp(replace(bench.clamps["B"], slip_mm=1.6))
    played = play_job(seed=1, bench=bench, mains=mains, crosses=crosses)
    path = folder / "levers.rec"
    path.write_bytes(played.recording)
    return replay(path), {pull["number"]: pull for pull in played.truth["pulls"]}


@pytest.fixture(scope="module", params=HEADS)
def by_lever(request, tmp_path_factory):
    return read(tmp_path_factory.mktemp("lever"), head=request.param)


def test_the_release_is_the_levers_own_moment(by_lever):
    whole, truth = by_lever
    seen = [f for f in whole.found if f.lever is not None and f.pull.seen]
    assert seen
    for found in seen:
        assert found.pull.release_s == found.lever.at_s
        assert found.pull.release_s == pytest.approx(
            truth[found.number]["release_s"], abs=MOMENT_S
        )


def test_every_marked_step_has_its_size_and_none_is_invented(by_lever):
    whole, truth = by_lever
    marked = [f for f in whole.found if f.lever is not None]
    fell = [f for f in marked if truth[f.number].get("drop_n")]
    assert len(fell) >= 2
    for found in fell:
        size = truth[found.number]["drop_n"]
        assert found.pull.drop == pytest.approx(size, abs=0.25)
    still = [f for f in marked if f not in fell]
    assert not [f.number for f in still if f.pull.seen]
    assert all(f.pull.release_s is None for f in still)


@pytest.mark.parametrize("by_lever", ["lockout"], indirect=True)
def test_a_step_that_the_trace_alone_does_not_tell_is_measured_at_the_lever(by_lever):
    whole, truth = by_lever
    missed = [
        f
        for f in whole.found
        if f.lever is not None and f.pull.seen and f.lever.by_trace_s is None
    ]
    assert missed
    for found in missed:
        assert found.pull.drop == pytest.approx(truth[found.number]["drop_n"], abs=0.2)


def test_a_sitting_says_how_good_its_estimates_are(by_lever):
    whole, _ = by_lever
    levers = whole.levers
    assert levers.releases >= 7
    assert 0 < levers.found <= levers.seen
    assert abs(levers.late_s) < MOMENT_S
    assert abs(levers.drop) < 0.1
    assert (levers.other_clamp, levers.unit) == (0, "N")


def test_it_is_in_the_answer_beside_what_the_trace_alone_says(by_lever):
    whole, _ = by_lever
    said = answer(whole, name="levers.rec")
    assert said["levers"]["releases"] == whole.levers.releases
    row = next(row for row in said["pulls"] if "lever_s" in row and row["seen"])
    assert row["release_s"] == row["lever_s"]
    assert {"lever_clamp", "by_trace_release_s", "by_trace_drop_N"} <= set(row)


def test_without_levers_nothing_is_said_of_them(tmp_path):
    whole, _ = read(tmp_path, has_levers=False, mains=2, crosses=1)
    assert whole.levers is None
    said = answer(whole, name="a.rec")
    assert said["levers"] is None
    assert not any("lever_s" in row for row in said["pulls"])


def test_an_estimate_far_from_the_lever_counts_as_elsewhere_and_a_wrong_lever_is_told(by_lever):
    whole, _ = by_lever
    found = next(f for f in whole.found if f.lever is not None and f.pull.seen)
    far = replace(
        found,
        lever=replace(found.lever, clamp="C", by_trace_s=found.lever.at_s + 2 * SAME_WITHIN_S),
    )
    levers = levers_of([far])
    assert (levers.found, levers.elsewhere, levers.other_clamp) == (0, 1, 1)
    assert levers.late_s is None
