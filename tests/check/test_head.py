"""The dial against the cell, and what to dial."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.head import GAIN_SD, MOST_CORRECTION, HeadPull, analyse_head
from tensionlog.errors import CalibrationError
from tensionlog.units import N_PER_LBF

SETTINGS = (100.0, 180.0, 260.0)


def pulled(rng, *, offset=-3.0, gain=1.01, repeat=0.3, settings=SETTINGS, fast_pct=0.0):
    pulls = []
    for s in settings:
        for speed in ("slow", "fast"):
            peak = offset + gain * s + rng.normal(0, repeat)
            peak *= 1 + (fast_pct / 100 if speed == "fast" else 0)
            pulls.append(HeadPull(s, peak, 0.95 * peak, speed))
    return pulls


@given(st.floats(-4, 4), st.floats(0.97, 1.03), st.floats(90, 270))
def test_dialling_the_advice_gives_the_order(offset, gain, order_n):
    head = analyse_head(pulled(np.random.default_rng(1), offset=offset, gain=gain, repeat=0.0))

    advice = head.advise(order_n, check_verdict="good")

    if advice.capped:
        assert abs(advice.dial_n / order_n - 1) == pytest.approx(MOST_CORRECTION)
    else:
        # the lean towards a gain of one moves the advice by far less than its doubt
        assert offset + gain * advice.dial_n == pytest.approx(order_n, abs=advice.u_n)


def test_offset_and_gain_are_found_with_honest_doubt():
    rng = np.random.default_rng(2)
    scores = []
    for _ in range(300):
        gain = 1 + GAIN_SD * rng.normal()
        line = analyse_head(pulled(rng, gain=gain, repeat=0.9)).peak
        scores.append((line.pull_n(220.0) - (-3.0 + gain * 220.0)) / line.u_pull_n(220.0))

    # u holds the next pull's own scatter as well, so the line alone is nearer than that
    assert np.mean(np.abs(scores) < 2) > 0.97
    assert analyse_head(pulled(rng, repeat=0.01)).peak.gain == pytest.approx(1.01, abs=3e-3)


def test_one_setting_is_good_near_itself_and_doubtful_away_from_it():
    head = analyse_head(pulled(np.random.default_rng(3), settings=(180.0,)))

    near, far = head.peak.u_pull_n(180.0), head.peak.u_pull_n(280.0)

    assert far == pytest.approx(np.hypot(near, GAIN_SD * 100), rel=0.1)
    assert head.peak.pull_n(180.0) == pytest.approx(-3.0 + 1.01 * 180, abs=0.6)


def test_two_pulls_that_happen_to_agree_do_not_make_a_perfect_head():
    head = analyse_head([HeadPull(200.0, 199.0), HeadPull(200.0, 199.0)])

    assert head.peak.repeat_n > 0.3


def test_the_table_covers_the_trade_and_carries_its_doubt():
    head = analyse_head(pulled(np.random.default_rng(4)), u_cell_pct=0.1)

    table = head.dial_table(check_verdict="good")

    assert len(table) == 48
    assert table[0].order_n == pytest.approx(18 * N_PER_LBF)
    assert table[-1].order_n == pytest.approx(65 * N_PER_LBF)
    assert all(line.u_n > 0.001 * line.order_n for line in table)
    dials = [line.dial_n for line in table]
    assert dials == sorted(dials)
    assert len(head.dial_table(check_verdict="good", unit="kgf")) == 44


@pytest.mark.parametrize("verdict", ["adjust", "stop", None])
def test_no_advice_without_a_good_check(verdict):
    head = analyse_head(pulled(np.random.default_rng(5)))

    assert all(line.dial_n is None for line in head.dial_table(check_verdict=verdict))
    assert str(verdict or "missing") in head.advise(100.0, check_verdict=verdict).says


def test_a_correction_beyond_five_per_cent_is_held_and_said():
    head = analyse_head(pulled(np.random.default_rng(6), offset=-20.0))

    advice = head.advise(150.0, check_verdict="good")

    assert advice.capped
    assert advice.dial_n == pytest.approx(157.5)
    assert "held at 5 %" in advice.says


def test_order_boost_and_doubt_stay_below_the_frames_limit():
    head = analyse_head(pulled(np.random.default_rng(7)))

    assert head.advise(120.0, check_verdict="good", limit_n=124.0).dial_n is not None
    boosted = head.advise(120.0, check_verdict="good", limit_n=124.0, boost_pct=5)
    assert boosted.dial_n is None
    assert "124 N" in boosted.says


def test_slow_and_fast_pulls_are_compared_at_the_same_setting():
    head = analyse_head(pulled(np.random.default_rng(8), fast_pct=1.0, repeat=0.01))

    assert head.fast_less_slow_pct == pytest.approx(1.0, abs=0.05)
    assert head.repeatability_pct == pytest.approx(1.0, abs=0.05)
    assert analyse_head([HeadPull(100.0, 99.0)]).fast_less_slow_pct is None


def test_three_seconds_later_has_its_own_line():
    head = analyse_head(pulled(np.random.default_rng(9), repeat=0.0))

    assert head.at_3s.gain == pytest.approx(0.95 * 1.01, abs=0.01)
    assert analyse_head([HeadPull(100.0, 99.0)]).at_3s is None
    assert head.error_pct == pytest.approx(100 * (1.01 - 3 / 180 - 1), abs=0.05)


def test_the_answer_is_plain_values():
    answer = analyse_head(pulled(np.random.default_rng(10))).answer()

    assert answer["range_N"] == [100.0, 260.0]
    assert all(v is None or isinstance(v, float | list) for v in answer.values())


@pytest.mark.parametrize(
    ("pulls", "said"),
    [
        ([], "no pull"),
        ([HeadPull(25.0, 111.0)], "111.0 N at a dial of 25.0 N"),
        ([HeadPull(0.0, 100.0)], "0.0 N"),
        ([HeadPull(100.0, float("nan"))], "nan"),
    ],
)
def test_pulls_that_cannot_be_are_refused_by_value(pulls, said):
    with pytest.raises(CalibrationError, match=said):
        analyse_head(pulls)


def test_a_unit_nobody_dials_in_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="unit"):
        analyse_head([HeadPull(100.0, 99.0)]).dial_table(check_verdict="good", unit="N")
