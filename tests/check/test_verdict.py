"""The guard band (JCGM 106:2012, guarded acceptance)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.verdict import VERDICTS, Tolerance, judge, worst

FORCES = st.floats(0, 10)
UNCERTAINTIES = st.floats(0.001, 2)


@given(FORCES, UNCERTAINTIES, st.floats(0.1, 3))
def test_sign_does_not_matter_and_a_larger_error_is_never_better(error, u, tolerance):
    def rank(e):
        return VERDICTS.index(judge(error_n=e, u_n=u, tolerance_n=tolerance))

    assert rank(error) == rank(-error)
    assert rank(error * 1.5) >= rank(error)


@given(UNCERTAINTIES, st.floats(0.1, 3))
def test_doubt_never_makes_a_cell_good_and_never_stops_one(u, tolerance):
    if judge(error_n=tolerance, u_n=u, tolerance_n=tolerance) == "good":
        pytest.fail("a cell at its tolerance passed")
    assert judge(error_n=3 * tolerance, u_n=u, tolerance_n=tolerance) != "stop"


@pytest.mark.parametrize(
    ("error", "verdict"),
    [(0.0, "good"), (0.39, "good"), (0.41, "adjust"), (-1.59, "adjust"), (1.61, "stop")],
)
def test_the_three_verdicts_at_their_borders(error, verdict):
    """Tolerance 0.5 N, U = 2 * 0.05 = 0.1 N: good to 0.4 N, stop beyond 1.6 N."""
    assert judge(error_n=error, u_n=0.05, tolerance_n=0.5) == verdict


def test_chances_at_the_tolerance_and_two_expanded_uncertainties_below():
    """P(good) at most 2.5 % at the tolerance, at least 97.5 % at tolerance - 2U."""
    rng = np.random.default_rng(20260302)
    u, tolerance = 0.05, 0.5

    def share_good(true_error):
        seen = true_error + rng.normal(0, u, 40_000)
        return np.mean([judge(error_n=e, u_n=u, tolerance_n=tolerance) == "good" for e in seen])

    assert share_good(tolerance) <= 0.025
    assert share_good(tolerance - 2 * (2 * u)) >= 0.975


def test_the_default_tolerance_has_a_floor():
    assert Tolerance().at_n(200.0) == 1.0
    assert Tolerance().at_n(-200.0) == 1.0
    assert Tolerance().at_n(10.0) == 0.3


def test_the_worst_of_several_counts():
    assert worst(["good", "stop", "adjust"]) == "stop"


def test_a_negative_tolerance_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="negative"):
        Tolerance(pct_of_load=-1.0)
