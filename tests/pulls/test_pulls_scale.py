"""Without a calibration a rough scale is enough to find the pulls."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.finder import StretchFinder
from tensionlog.pulls.scale import LOOK_S, guess_scale


@given(noise_counts=st.floats(5.0, 5000.0), zero=st.integers(-(10**6), 10**6))
@settings(max_examples=30)
def test_the_guess_takes_the_noise_for_some_hundredths_of_a_newton(noise_counts, zero):
    counts = np.round(zero + np.random.default_rng(1).normal(0.0, noise_counts, 400))

    scale = guess_scale(counts, rate_hz=80.0, force=False)

    assert 0.03 < scale * noise_counts < 0.12


def test_it_waits_until_it_has_seen_enough_unless_no_more_will_come():
    few = np.zeros(int(LOOK_S * 80) - 1)

    assert guess_scale(few, rate_hz=80.0, force=False) is None
    assert guess_scale(few, rate_hz=80.0, force=True) > 0.0


def test_a_converter_that_stands_still_gives_a_guess_all_the_same():
    assert guess_scale(np.full(400, 7.0), rate_hz=80.0, force=False) == pytest.approx(0.12)


@pytest.mark.parametrize("counts_per_n", [800.0, 9120.0, 40_000.0])
def test_pulls_are_found_with_the_guess(sim, counts_per_n: float):
    pull = sim.pulled(1)
    counts = np.round(pull.force_n * counts_per_n)
    scale = guess_scale(counts[:300], rate_hz=80.0, force=False)
    finder = StretchFinder(newtons_per_count=scale, rate_hz=80.0)
    found = [finder.push(0, t, c) for t, c in zip(pull.t_s, counts, strict=True)]

    assert sum(s is not None for s in found) == 1
