"""Pushes and plucks come back; a release goes down and stays."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.disturbed import bridged, comes_back, hands_on, runs_of, widened

PERIOD = 0.0125
MASKS = st.lists(st.booleans(), max_size=60).map(lambda bits: np.array(bits, dtype=bool))


def hold(
    seed: int = 0, *, n: int = 320, step: float = 0.0, per_decade: float = 10.0
) -> np.ndarray:
    t = np.arange(n) * PERIOD
    y = 250.0 - per_decade * np.log10(1.0 + t / 0.2) - step * (t > 2.0)
    return y + np.random.default_rng(seed).normal(0.0, 0.05, n)


def hands(y: np.ndarray) -> np.ndarray:
    return hands_on(y, period=PERIOD, noise=0.05, level=250.0)


# ------------------------------------------------------------------------------- laws


@given(seed=st.integers(0, 5000), step=st.floats(0.0, 40.0))
@settings(max_examples=40)
def test_a_release_is_nobodys_hand(seed: int, step: float):
    assert hands(hold(seed, step=step)).sum() == 0


@given(
    seed=st.integers(0, 5000),
    at=st.integers(40, 200),
    n=st.integers(4, 48),
    size=st.floats(4.0, 20.0),
)
@settings(max_examples=40)
def test_a_push_is_left_out_and_the_rest_is_kept(seed, at, n, size):
    y = hold(seed)
    y[at : at + n] += size

    left_out = hands(y)

    assert left_out[at : at + n].all()
    assert left_out.sum() <= n + 10


@given(seed=st.integers(0, 5000), at=st.integers(160, 240), n=st.integers(4, 40))
@settings(max_examples=30)
def test_a_dip_that_comes_back_is_left_out_once_the_relaxation_is_taken_out(seed, at, n):
    y = hold(seed, per_decade=2.0)
    y[at : at + n] -= 4.0

    left_out = hands(y)

    assert left_out[at : at + n].all()
    assert left_out[: at - 10].sum() == 0


@given(MASKS)
def test_runs_are_the_mask_again(mask):
    again = np.zeros(len(mask), dtype=bool)
    for first, last in runs_of(mask):
        assert first <= last
        again[first : last + 1] = True

    assert np.array_equal(again, mask)


@given(MASKS, st.integers(1, 5))
def test_widening_reaches_as_far_as_it_says_and_never_shrinks(mask, by: int):
    if len(mask) < 2 * by + 1:
        return
    wide = widened(mask, by)

    expected = [mask[max(0, i - by) : i + by + 1].any() for i in range(len(mask))]
    assert list(wide) == expected


@given(MASKS)
def test_bridging_moves_masked_samples_alone(mask):
    y = np.random.default_rng(1).normal(size=len(mask))

    assert np.array_equal(bridged(y, mask)[~mask], y[~mask])


# ------------------------------------------------------------------------------- cases


def test_a_bridge_is_a_straight_line():
    y = np.array([0.0, 9.0, 9.0, 3.0])

    assert bridged(y, np.array([False, True, True, False])) == pytest.approx([0, 1, 2, 3])


def test_what_is_masked_from_end_to_end_stays():
    y = np.array([1.0, 2.0])

    assert bridged(y, np.ones(2, dtype=bool)) is y


def test_a_rise_that_stays_is_no_push():
    y = np.where(np.arange(200) > 100, 5.0, 0.0)

    assert not comes_back(y, period=PERIOD, threshold=1.0).any()


def test_a_push_longer_than_a_hand_takes_is_not_called_one():
    y = np.zeros(400)
    y[100:300] = 5.0

    assert not comes_back(y, period=PERIOD, threshold=1.0)[150:250].any()


def test_two_pushes_beside_each_other_leave_no_dip_between_them():
    y = hold(2)
    y[80:110] += 4.0
    y[130:160] += 4.0

    left_out = hands(y)

    assert not left_out[114:126].any()


def test_a_release_under_a_push_stays_visible():
    y = hold(4, step=6.0)
    y[165:190] += 5.0  # just after the release

    assert hands(y)[165:190].all()
    assert not hands(y)[:155].any()
