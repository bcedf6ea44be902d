"""How soon a change is called, beside a designed chart with the same false alarms.

One give series by itself, forty mornings, a change on day 20. The designed chart is the
self-starting CUSUM with k 0.5, its limit set so that it raises as many false alarms on the
same quiet series. `python tests/clamps/test_delay.py [runs]` prints the table.
"""

import sys
from typing import NamedTuple

import numpy as np
import pytest

from tensionlog.clamps.causes import who_did_it
from tensionlog.clamps.series import DAY_S, Series
from tensionlog.stats.self_starting import self_starting_cusum

START_S, ONSET, DAYS, SD_MM = 1.7e9, 20, 40, 0.1
TIMES_S = tuple(START_S + DAY_S * day for day in range(DAYS))
CHANGES_MM = {
    "a step of 0.2 mm": 0.2 * (np.arange(DAYS) >= ONSET),
    "a step of 0.3 mm": 0.3 * (np.arange(DAYS) >= ONSET),
    "a step of 0.5 mm": 0.5 * (np.arange(DAYS) >= ONSET),
    "wear of 0.03 mm a day": 0.03 * np.maximum(0, np.arange(DAYS) - ONSET + 1),
}


class Delay(NamedTuple):
    """Mean delays in days, ours and the designed chart's, and the shares of false alarms."""

    ours: float
    designed: float
    false: float
    limit: float


def called_ours(values, first=8):
    """Day on which the cause finder calls, or the day after the last."""
    one = {"give-A": Series(name="give-A", times_s=TIMES_S, values=tuple(values))}
    for day in range(first, DAYS):
        finding = who_did_it(one, TIMES_S[day])
        if finding is not None and finding.certain:
            return day
    return DAYS


def called_by_chart(values, limit):
    """The same of a self-starting CUSUM."""
    shifts = self_starting_cusum(values, h=limit).shifts
    return shifts[0].index if shifts else DAYS


def limit_for(quiet, share):
    """Limit at which the chart raises no more than this share of false alarms."""
    return next(
        limit
        for limit in np.arange(2.0, 12.0, 0.05)
        if np.mean([called_by_chart(v, limit) < DAYS for v in quiet]) <= share
    )


def delays(runs, *, seed=5):
    """Every change's delays over so many runs."""
    quiet = np.random.default_rng(seed).normal(1.0, SD_MM, (runs, DAYS))
    false = float(np.mean([called_ours(v) < DAYS for v in quiet]))
    limit = limit_for(quiet, max(false, 1.0 / runs))
    for name, change in CHANGES_MM.items():
        moved = quiet + change
        ours = np.mean([max(0, called_ours(v, ONSET) - ONSET) for v in moved])
        chart = np.mean([max(0, called_by_chart(v, limit) - ONSET) for v in moved])
        yield name, Delay(float(ours), float(chart), false, float(limit))


def test_a_clear_step_is_called_as_soon_as_by_a_chart():
    """Short form: the limit is the one that the long form found."""
    moved = np.random.default_rng(11).normal(1.0, SD_MM, (12, DAYS))
    moved = moved + CHANGES_MM["a step of 0.5 mm"]
    ours = np.mean([called_ours(v, ONSET) - ONSET for v in moved])
    designed = np.mean([max(0, called_by_chart(v, 5.0) - ONSET) for v in moved])
    assert ours <= 1.15 * designed


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_changes_are_called_within_fifteen_per_cent_of_the_designed_chart():
    for name, delay in delays(150):
        sys.stdout.write(f"\n{name}: {delay}\n")
        assert delay.ours <= 1.15 * delay.designed


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    sys.stdout.write(f"{'change':24}{'ours':>8}{'chart':>8}{'ratio':>8}  days, {runs} runs\n")
    for name, delay in delays(runs):
        ratio = delay.ours / delay.designed
        sys.stdout.write(f"{name:24}{delay.ours:8.2f}{delay.designed:8.2f}{ratio:8.2f}\n")
    sys.stdout.write(f"false alarms {delay.false:.3f}, limit of the chart {delay.limit:.2f}\n")
