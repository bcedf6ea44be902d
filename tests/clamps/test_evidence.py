"""Releases as evidence: which count, what they could have shown, who gives more."""

from dataclasses import replace

import numpy as np
import pytest

from tensionlog.clamps.evidence import compare, evidence_of, level_over_jobs, releases_of
from tensionlog.errors import ClampError
from tensionlog.model.job import Job
from tensionlog.model.pull import Pull

PHI, TARGET_N, SPAN_M, EA_N = 0.95, 120.0, 0.4, 3000.0
N_PER_MM = EA_N / SPAN_M / 1000.0


def job():
    positions = [f"{side}{i}" for side in "LR" for i in range(1, 12)]
    return Job(
        ref="J1",
        sport="badminton",
        mains=22,
        crosses=0,
        target_mains_n=TARGET_N,
        target_crosses_n=None,
        targets_n={},
        sequence=tuple(positions),
        clamp_left="A",
        clamp_right="B",
        clamp_start="B",
        clamps_crosses="AB",
        ea_mains_n=EA_N,
        ea_crosses_n=EA_N,
        u_ea_pct=5.0,
        spans_m=dict.fromkeys(positions, SPAN_M),
    )


def pull(*, clamp="A", held="L1", lost_n=None, **changed):
    """A pull whose release showed that `held` had lost `lost_n`, or showed nothing."""
    found = Pull(
        kind="pull",
        unit="N",
        position="L2",
        held_position=held,
        void=False,
        target=TARGET_N,
        start_s=0.0,
        top_s=1.0,
        release_s=None if lost_n is None else 2.0,
        let_off_s=4.0,
        peak=121.0,
        top=120.0,
        at_3s=118.0,
        expected=118.0,
        release=118.0,
        drop=0.0 if lost_n is None else 1.0,
        drop_u=0.05,
        seen=lost_n is not None,
        clamp_opened=clamp,
        clamp_shut="A",
        at_least_lost=lost_n,
        at_least_give_mm=None,
        held=None,
        idle=0.0,
        release_u=0.05,
        noise=0.05,
        relaxation=0.04,
        flags=(),
    )
    return replace(found, **changed)


def releases(pulls, reference_n=TARGET_N):
    return releases_of(pulls=pulls, job=job(), phi_max=PHI, reference_n=reference_n)


def strung(gives_mm, clamp, rng, n=10):
    """`n` releases of one clamp that gives `gives_mm` on average, hidden below the band."""
    band_n = (1.0 - PHI) * TARGET_N + 0.1
    for _ in range(n):
        lost_n = rng.normal(gives_mm, 0.25) * N_PER_MM
        yield pull(clamp=clamp, lost_n=lost_n if lost_n > band_n else None)


def test_a_seen_drop_is_millimetres_of_the_held_span():
    (one,) = releases([pull(lost_n=7.5)])
    assert one.lost_mm == pytest.approx(1.0)
    assert one.dead_band_n == pytest.approx(6.1)
    assert one.seen and one.shows_1mm


def test_an_unseen_drop_is_a_limit_and_no_zero():
    (one,) = releases([pull()])
    assert one.lost_mm is None
    assert one.value_mm == pytest.approx(6.1 / N_PER_MM)


def test_the_target_is_taken_out():
    (one,) = releases([pull(lost_n=7.5)], reference_n=60.0)
    assert one.lost_mm == pytest.approx(0.5)


@pytest.mark.parametrize(
    "spoiled",
    [
        {"void": True},
        {"kind": "lift-off"},
        {"held_position": None},
        {"clamp_opened": None},
        {"drop_u": None},
        {"top": None},
        {"unit": "counts"},
        {"flags": ("straightened",)},
        {"flags": ("early-clamp",)},
        {"held_position": "X9"},
    ],
)
def test_what_says_nothing_certain_is_left_out(spoiled):
    assert releases([pull(lost_n=9.0, **spoiled)]) == ()


def test_seen_of_those_that_could_have_shown_a_millimetre():
    pulls = [pull(lost_n=9.0), pull(), pull(), pull(drop_u=2.0), pull(clamp="B")]
    evidence, other = evidence_of(releases(pulls), job_number=2)
    assert (evidence.job_number, evidence.clamp, other.clamp) == (2, "A", "B")
    assert (evidence.releases, evidence.could_show, evidence.seen) == (4, 3, 1)
    assert evidence.dead_band_n == pytest.approx(6.1)
    assert evidence.most_mm == pytest.approx(9.0 / N_PER_MM)
    assert other.most_mm is None


def test_a_bench_that_could_show_nothing_says_so():
    (evidence,) = evidence_of(releases([pull(drop_u=5.0)]), job_number=1)
    assert evidence.could_show == 0
    assert evidence_of((), job_number=1) == ()


def test_the_difference_inside_a_job_covers_the_truth():
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        pulls = [*strung(1.4, "A", rng), *strung(0.9, "B", rng)]
        difference = compare(releases(pulls), first="A", second="B")
        inside += difference.mm.low < 0.5 < difference.mm.high
    assert inside >= 50


def test_ranks_tell_the_worse_clamp():
    rng = np.random.default_rng(1)
    pulls = [*strung(1.6, "A", rng), *strung(0.8, "B", rng)]
    difference = compare(releases(pulls), first="A", second="B")
    assert difference.ranks.score > 0
    assert difference.ranks.p < 0.01
    assert difference.u_mm == pytest.approx(
        (difference.mm.high - difference.mm.low) / 2 / 1.96, rel=1e-3
    )


def test_a_clamp_that_never_showed_a_drop_has_no_difference_in_mm():
    rng = np.random.default_rng(1)
    pulls = [*strung(1.6, "A", rng), *[pull(clamp="B") for _ in range(10)]]
    difference = compare(releases(pulls), first="A", second="B")
    assert difference.mm is None
    assert difference.why_not == "clamp B never showed a drop"
    assert difference.ranks.p < 0.01


def test_a_clamp_that_was_never_opened_cannot_be_compared():
    difference = compare(releases([pull(lost_n=9.0)]), first="A", second="B")
    assert difference.why_not == "clamp B was never opened"
    assert difference.ranks is None


def test_too_few_drops_are_told():
    difference = compare(
        releases([pull(lost_n=9.0), pull(clamp="B", lost_n=8.0)]), first="A", second="B"
    )
    assert "2 of 2 releases" in difference.why_not


def test_wear_over_jobs_is_found_under_the_dead_band():
    rng, days = np.random.default_rng(3), list(range(30))
    jobs = [releases([*strung(0.9 + 0.02 * day, "A", rng)]) for day in days]
    fit = level_over_jobs(jobs=jobs, days=days, clamp="A")
    slope = fit.interval([0.0, 1.0])
    assert slope.low < 0.02 < slope.high
    assert slope.low > 0.0
    assert fit.n_censored > 0


def test_no_releases_over_jobs_is_told():
    with pytest.raises(ClampError, match="0 of 0 releases"):
        level_over_jobs(jobs=[[]], days=[1.0], clamp="A")
