"""Services: did it help, by how much, for how long last time."""

import numpy as np
import pytest

from tensionlog.clamps.series import BASELINE, DAY_S, Series
from tensionlog.clamps.services import effect_of


def gives(values, *, services=()):
    return Series(
        name="give-B",
        times_s=tuple(DAY_S * day for day in range(len(values))),
        values=tuple(map(float, values)),
        marks_s=tuple(DAY_S * (day - 0.5) for day in services),
    )


def effects(series):
    return [effect_of(series, mark_s) for mark_s in series.marks_s]


def test_a_cleaning_that_helped():
    rng = np.random.default_rng(1)
    values = np.concatenate([rng.normal(1.6, 0.1, 8), rng.normal(0.9, 0.1, 8)])
    (effect,) = effects(gives(values, services=(8,)))
    assert effect.helped is True
    assert effect.change.low < -0.7 < effect.change.high
    assert effect.needed == 0
    assert effect.lasted_days is None


def test_a_cleaning_that_changed_nothing_is_not_told_yet():
    rng = np.random.default_rng(2)
    (effect,) = effects(gives(rng.normal(1.2, 0.1, 12), services=(8,)))
    assert effect.helped is None
    assert effect.needed >= 1


def test_a_service_that_made_it_worse():
    (effect,) = effects(gives([1.0] * 6 + [1.5] * 6, services=(6,)))
    assert effect.helped is False


def test_the_interval_covers():
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        values = np.concatenate([rng.normal(1.5, 0.1, 6), rng.normal(1.1, 0.1, 4)])
        change = effect_of(gives(values, services=(6,)), 5.5 * DAY_S).change
        inside += change.low < -0.4 < change.high
    assert 180 <= inside <= 200


def test_how_long_it_lasted():
    worn = [1.5, 1.5, 1.5] + [0.9 + 0.06 * day for day in range(20)]
    (effect,) = effects(gives(worn, services=(3,)))
    back_on = next(i for i, v in enumerate(worn[3:]) if v > 1.5 - 0.075)
    assert effect.lasted_days == pytest.approx(back_on + 0.5)


def test_only_tests_up_to_the_next_service_belong_to_one():
    first, second = effects(gives([1.5] * 4 + [0.9] * 4 + [0.7] * 4, services=(4, 8)))
    assert first.after == pytest.approx(0.9)
    assert second.before == pytest.approx(0.9)


def test_a_service_before_the_first_test_has_no_before():
    effect = effect_of(gives([1.0, 1.0]), -DAY_S)
    assert effect.before is None
    assert effect.change is None
    assert effect.helped is None
    assert effect.needed == BASELINE - 2


def test_a_service_after_the_last_test_waits_for_one():
    effect = effect_of(gives([1.0, 1.0]), 9 * DAY_S)
    assert effect.after is None
    assert effect.needed == BASELINE
