"""Censored estimates against a general library (scipy) and against laws of their own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from tensionlog.clamps.censored import fit_tobit, gehan, normal_quantile, share_seen
from tensionlog.errors import ClampError

SEEDS = st.integers(0, 2**32 - 1)


def censored(seed, *, n=80, limit=0.6, mean=1.0, spread=0.5):
    y = np.random.default_rng(seed).normal(mean, spread, n)
    seen = y > limit
    return np.where(seen, y, limit), seen


def curved(cost, at, step=1e-4):
    """Second differences of `cost`."""
    moves = step * np.eye(len(at))
    return np.array(
        [
            [
                cost(at + a + b) - cost(at + a - b) - cost(at - a + b) + cost(at - a - b)
                for b in moves
            ]
            for a in moves
        ]
    ) / (4.0 * step**2)


@settings(max_examples=30)
@given(SEEDS, st.floats(-1.0, 1.2))
def test_one_level_is_the_librarys_censored_normal_fit(seed, limit):
    values, seen = censored(seed, limit=limit)
    fit = fit_tobit(design=np.ones((80, 1)), values=values, seen=seen)
    data = stats.CensoredData(uncensored=values[seen], left=values[~seen])
    mean, spread = stats.norm.fit(data)
    assert fit.coefficients[0] == pytest.approx(mean, abs=2e-3)
    assert fit.spread == pytest.approx(spread, abs=2e-3)


def test_a_slope_is_where_a_general_minimiser_finds_the_summit():
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(60), rng.uniform(-1.0, 1.0, 60)])
    y = x @ [0.5, 0.8] + rng.normal(0.0, 0.4, 60)
    seen = y > 0.3
    values = np.where(seen, y, 0.3)

    def cost(theta):
        spread = np.exp(theta[2])
        z = (values - x @ theta[:2]) / spread
        return -np.sum(np.where(seen, stats.norm.logpdf(z) - theta[2], stats.norm.logcdf(z)))

    best = optimize.minimize(cost, [0.0, 0.0, 0.0], method="BFGS", options={"gtol": 1e-8})
    fit = fit_tobit(design=x, values=values, seen=seen)
    assert fit.coefficients == pytest.approx(best.x[:2], abs=1e-5)
    curvature = curved(cost, best.x)
    expected = np.sqrt(np.diag(np.linalg.inv(curvature))[:2])
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(expected, rel=1e-3)


def test_with_nothing_hidden_it_is_least_squares():
    values, _ = censored(1)
    fit = fit_tobit(design=np.ones((80, 1)), values=values, seen=np.ones(80, dtype=bool))
    assert fit.coefficients[0] == pytest.approx(values.mean())
    assert fit.spread == pytest.approx(values.std())
    assert fit.covariance[0, 0] == pytest.approx(values.var() / 80)


def test_the_interval_covers_where_a_mean_of_drops_does_not():
    inside, naive = 0, 0
    for seed in range(200):
        values, seen = censored(seed, limit=1.0)
        interval = fit_tobit(design=np.ones((80, 1)), values=values, seen=seen).interval([1.0])
        inside += interval.low < 1.0 < interval.high
        naive += abs(values[seen].mean() - 1.0) < 0.1
    assert inside >= 180
    assert naive == 0


def test_too_few_seen_is_told():
    with pytest.raises(ClampError, match="1 of 10 releases showed a drop"):
        fit_tobit(design=np.ones((10, 1)), values=np.ones(10), seen=np.arange(10) == 0)


@given(SEEDS, st.integers(3, 20), st.integers(3, 20))
def test_ranks_with_nothing_hidden_are_mann_and_whitneys(seed, n, m):
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=n), rng.normal(0.5, 1.0, m)
    ours = gehan(a=a, a_seen=np.ones(n, bool), b=b, b_seen=np.ones(m, bool))
    theirs = stats.mannwhitneyu(a, b, method="asymptotic", use_continuity=False)
    assert ours.p == pytest.approx(theirs.pvalue, rel=1e-9)
    assert (ours.score > 0) == (theirs.statistic > n * m / 2)


def test_ranks_of_hidden_readings_against_a_shuffle():
    values, seen = censored(9, n=30)
    values[:14] += 0.3 * seen[:14]
    ours = gehan(a=values[:14], a_seen=seen[:14], b=values[14:], b_seen=seen[14:])
    rng, scores = np.random.default_rng(1), []
    for _ in range(2000):
        order = rng.permutation(30)
        v, s = values[order], seen[order]
        scores.append(gehan(a=v[:14], a_seen=s[:14], b=v[14:], b_seen=s[14:]).score)
    assert np.mean(np.abs(scores) >= abs(ours.score)) == pytest.approx(ours.p, abs=0.03)


@given(SEEDS)
def test_swapping_the_groups_turns_the_score_round(seed):
    values, seen = censored(seed, n=20)
    one = gehan(a=values[:8], a_seen=seen[:8], b=values[8:], b_seen=seen[8:])
    other = gehan(a=values[8:], a_seen=seen[8:], b=values[:8], b_seen=seen[:8])
    assert one.score == pytest.approx(-other.score)


def test_two_groups_of_limits_say_nothing():
    hidden = np.zeros(5, dtype=bool)
    assert gehan(a=np.ones(5), a_seen=hidden, b=2 * np.ones(5), b_seen=hidden).p == 1.0


@given(st.integers(1, 60), st.data())
def test_wilson_is_the_librarys(of, data):
    seen = data.draw(st.integers(0, of))
    ours = share_seen(seen=seen, of=of)
    theirs = stats.binomtest(seen, of).proportion_ci(0.95, method="wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_wilson_refuses_nonsense():
    with pytest.raises(ValueError, match="3 of 2"):
        share_seen(seen=3, of=2)


def test_the_usual_quantile():
    assert normal_quantile(0.95) == pytest.approx(1.959964, abs=1e-6)
