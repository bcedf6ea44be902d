"""Loads above a zero that walks."""

import numpy as np
import pytest

from tensionlog.check.settling import Level
from tensionlog.check.wander import loads_above_zero


def window(t_s, readings, noise=1e-4, lift=0.0):
    """A window of one-second pieces at known readings."""
    n = len(readings)
    return Level(
        level=float(np.mean(readings)),
        u=noise / np.sqrt(n),
        t_s=float(np.mean(t_s)),
        start_s=t_s[0] - 0.5,
        end_s=t_s[-1] + 0.5,
        swing=0.0,
        piece_t_s=np.asarray(t_s, dtype=float),
        piece=np.asarray(readings, dtype=float),
        piece_s=1.0,
        piece_lift=np.broadcast_to(lift, n).astype(float),
        piece_noise=noise**2 * np.eye(n),
        piece_beyond=np.zeros((n, n)),
    )


def test_zero_drifting_straight_is_taken_out_in_between():
    t = np.arange(30.0)
    drift = 0.01 * t
    levels = [
        window(t[:10], drift[:10]),
        window(t[12:18], 100 + drift[12:18]),
        window(t[20:], drift[20:]),
    ]

    loads = loads_above_zero(levels, [True, False, True])

    assert loads.added_n == pytest.approx([100.0], abs=1e-3)


def test_what_walks_further_is_known_less():
    rng = np.random.default_rng(1)
    near, far = (
        loads_above_zero(
            [
                window(np.arange(5.0), walk[:5]),
                window(np.arange(5.0) + 5 + gap, 100 + walk[5:]),
            ],
            [True, False],
        )
        for gap, walk in ((2.0, rng.normal(0, 0.005, 10)), (60.0, rng.normal(0, 0.005, 10)))
    )

    assert far.from_walk[0, 0] > 5 * near.from_walk[0, 0]


@pytest.mark.parametrize("rate", [0.002, 0.01])
def test_the_rate_of_the_walk_is_found(rate):
    rng = np.random.default_rng(2)
    found = []
    for _ in range(20):
        walk = np.cumsum(rate * rng.normal(size=100) / np.sqrt(10))
        mean = walk.reshape(-1, 10)[:, :].mean(axis=1)
        fine = [window(np.arange(5.0), mean[:5]), window(np.arange(5.0, 10.0), mean[5:] + 50)]
        found.append(loads_above_zero(fine, [True, False]).rate)

    assert np.median(found) == pytest.approx(rate, rel=0.45)


def test_a_stated_covariance_is_what_repeated_checks_scatter_by():
    rng = np.random.default_rng(3)
    scores = []
    for _ in range(100):
        walk = np.cumsum(0.005 * rng.normal(size=300) / np.sqrt(10))
        piece = walk.reshape(30, 10).mean(axis=1) + rng.normal(0, 0.003, 30)
        levels = [
            window(np.arange(8.0), piece[:8], 0.003),
            window(np.arange(11.0, 18.0), piece[11:18] + 100, 0.003),
            window(np.arange(21.0, 30.0), piece[21:30], 0.003),
        ]
        loads = loads_above_zero(levels, [True, False, True])
        u = np.sqrt(loads.from_walk[0, 0] + loads.from_reading[0, 0])
        scores.append((loads.added_n[0] - 100) / u)

    assert np.sqrt(np.mean(np.square(scores))) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("is_pendulum", [True, False])
def test_masses_that_swing_as_pendulums_are_told_from_ones_that_bounce(is_pendulum):
    rng = np.random.default_rng(4)
    lift = 0.3 * np.exp(-np.arange(8.0) / 2)
    levels = []
    for i in range(3):
        at = 20.0 * i
        empty = rng.normal(0, 0.005, 8)
        loaded = 100 + rng.normal(0, 0.005, 8) + is_pendulum * lift
        levels += [window(at + np.arange(8.0), empty, 0.005)]
        levels += [window(at + 10 + np.arange(8.0), loaded, 0.005, lift)]

    loads = loads_above_zero(levels, [True, False] * 3)

    assert loads.added_n == pytest.approx([100.0] * 3, abs=0.02)
