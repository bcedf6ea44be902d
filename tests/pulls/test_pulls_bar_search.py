"""The search over every moment of a hold, against one least-squares fit a moment."""

import numpy as np
import pytest

from tensionlog.pulls.bar_search import COARSE_S, LEAD, Bar, Coarse, Curves

DELAY_S = 0.04
BAR = Bar(omega=5.0, decay=0.7, u_ln=0.05, learned=True)


def hold(seed: int, *, gap: slice) -> Coarse:
    """A swing with a fall of 3 at 1.5 s, noise 0.1, and some bins without samples."""
    rng = np.random.default_rng(seed)
    x = COARSE_S * (np.arange(120) + 0.5)
    y = 2.0 * np.exp(-0.7 * x) * np.cos(5.0 * x) - 3.0 * left(x - 1.5, BAR)
    weight = np.sqrt(rng.integers(1, 4, len(x)).astype(float))
    weight[gap] = 0.0
    return Coarse(begin_s=10.0, x=x, y=y + 0.1 * rng.standard_normal(len(x)), weight=weight)


def left(since: np.ndarray, bar: Bar) -> np.ndarray:
    """A fall's remains, smeared over the delay and a bin."""
    edge = np.clip(0.5 + since / (2.0 * DELAY_S + COARSE_S), 0.0, 1.0)
    u = np.maximum(since, 0.0)
    swing = np.cos(bar.omega * u) + bar.decay / bar.omega * np.sin(bar.omega * u)
    return edge * np.exp(-bar.decay * u) * swing


def explained(grid: Coarse, bar: Bar, k: int, stiff: float) -> tuple[float, float]:
    """Chi-square without a fall, and with one at bin `k`; the slope is held near 0."""
    damped = np.exp(-bar.decay * grid.x)
    columns = [np.ones_like(grid.x), grid.x, damped * np.cos(bar.omega * grid.x)]
    columns.append(damped * np.sin(bar.omega * grid.x))
    since = np.where(np.arange(len(grid.x)) < k - LEAD, -9.0, grid.x - grid.x[k])
    result = []
    for design in (columns, [*columns, -left(since, bar)]):
        rows = np.column_stack(design) * grid.weight[:, None]
        held = np.zeros((1, rows.shape[1]))
        held[0, 1] = stiff
        both, seen = np.vstack([rows, held]), np.append(grid.y * grid.weight, 0.0)
        rest = seen - both @ np.linalg.lstsq(both, seen, rcond=None)[0]
        result.append(float(rest @ rest))
    return result[0], result[1]


@pytest.mark.parametrize("gap", [slice(0, 0), slice(30, 42)])
def test_what_a_fall_explains_is_what_a_fit_for_each_moment_says(gap: slice) -> None:
    grid = hold(5, gap=gap)
    curves = Curves.of(grid, BAR, DELAY_S)
    gain, _ = grid.gains(curves, stiff=2.0)
    assert np.count_nonzero(gain[:, 8:110:7]) > 40
    for i, near in enumerate(curves.swings):
        for k in range(8, 110, 7):
            without, with_fall = explained(grid, near, k, 2.0)
            # Only a fall downward counts.
            assert (
                gain[i, k] == pytest.approx(without - with_fall, rel=1e-6) or gain[i, k] == 0.0
            )


def test_the_moment_that_explains_most_is_the_falls() -> None:
    grid = hold(6, gap=slice(0, 0))
    gain, rest = grid.gains(Curves.of(grid, BAR, DELAY_S), stiff=2.0)
    _, k = np.unravel_index(int(np.argmin(rest[:, None] - gain)), gain.shape)
    assert grid.x[k] == pytest.approx(1.5, abs=1.5 * COARSE_S)
