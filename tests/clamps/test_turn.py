"""Turn tests against what was put in, and the capstan rule against printed values."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.clamps.turn import TurnResult, measure_turn
from tensionlog.errors import ClampError

HEAD_N = 200.0


def turn(*, rest=0.5, tapped=0.85, relaxation=0.04, seed=1, rate_hz=80.0, noise_n=0.05):
    """Slack, ramp, six seconds still, four taps half a second apart, five seconds, off."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(0.0, 17.0, 1.0 / rate_hz)
    head = HEAD_N * np.clip((t_s - 2.0) / 1.2, 0.0, 1.0)
    age_s = np.maximum(t_s - 3.2, 0.0)
    head *= 1.0 - relaxation * (np.log10(1.0 + age_s / 0.2) - np.log10(1.0 + 6.0 / 0.2))
    share = np.full_like(t_s, rest)
    for tap, through in enumerate((0.6, 0.85, 0.95, 1.0)):
        share[t_s >= 9.2 + 0.5 * tap] = rest + through * (tapped - rest)
    force = np.where(t_s < 15.5, head * share, 0.0) + 1.7
    force += noise_n * rng.normal(size=len(t_s))
    if tapped != rest:
        struck = [np.searchsorted(t_s, 9.2 + 0.5 * tap) for tap in range(4)]
        force[struck] += rng.uniform(-10.0, 10.0, 4)
    return {"t_s": t_s, "force_n": force, "head_n": HEAD_N, "start_s": 0.5, "end_s": 16.0}


@pytest.mark.parametrize("relaxation", [0.0, 0.04, 0.08])
@pytest.mark.parametrize(("rest", "tapped"), [(0.53, 0.9), (0.39, 0.85), (0.73, 0.95)])
def test_still_and_tapped_are_found_however_the_string_relaxes(rest, tapped, relaxation):
    result = measure_turn(**turn(rest=rest, tapped=tapped, relaxation=relaxation))
    assert result.phi_rest == pytest.approx(rest, abs=0.004)
    assert result.phi_tapped == pytest.approx(tapped, abs=0.006)
    assert abs(result.phi_tapped - tapped) < 2.5 * result.u


@pytest.mark.parametrize("rate_hz", [10.0, 320.0])
def test_slow_and_fast_converters(rate_hz):
    result = measure_turn(**turn(rate_hz=rate_hz))
    assert result.phi_rest == pytest.approx(0.5, abs=0.006)
    assert result.phi_tapped == pytest.approx(0.85, abs=0.008)


def locked(*, taps=(0.05, 0.5, 0.45), relaxation=0.04, tau_s=0.2, sprung=0.0, rate_hz=80.0):
    """A lock that pulls `HEAD_N` as it trips, the cell turned to its place before."""
    t_s = np.arange(0.0, 17.0, 1.0 / rate_hz)
    age_s = t_s - 4.2
    head = HEAD_N * np.clip(1.0 + age_s / 1.2, 0.0, 1.0) ** 1.3
    head *= 1.0 - relaxation * np.log10(1.0 + np.maximum(age_s, 0.0) / tau_s)
    head -= HEAD_N * sprung * np.clip(age_s / 0.03, 0.0, 1.0)
    share = np.full_like(t_s, 0.5)
    for tap, through in enumerate(taps):
        share[t_s >= 9.2 + 0.4 * tap] += 0.35 * through
    force = np.where(t_s < 15.5, head * share, 0.0) + np.where(t_s < 0.9, -3.0, 1.7)
    force += 0.05 * np.random.default_rng(1).normal(size=len(t_s))
    return {"t_s": t_s, "force_n": force, "head_n": HEAD_N, "start_s": 1.5, "end_s": 16.0}


@pytest.mark.parametrize(
    "made",
    [
        {"relaxation": 0.02},
        {"relaxation": 0.07, "tau_s": 0.1},
        {"relaxation": 0.07, "tau_s": 0.3},
        {"taps": (0.5, 0.05, 0.0, 0.45)},
        {"rate_hz": 10.0},
        {"rate_hz": 320.0},
        {"sprung": 0.02},
    ],
)
def test_behind_a_lock_the_shares_are_those_of_the_trip(made):
    result = measure_turn(**locked(**made), locked=True)
    assert abs(result.phi_rest - 0.5) < 2.0 * result.u
    assert abs(result.phi_tapped - 0.85) < 2.0 * result.u
    assert result.u < (0.006 if made.get("rate_hz") != 10.0 else 0.015)


def test_a_lock_that_nobody_tapped_has_a_still_share_alone():
    result = measure_turn(**locked(taps=()), locked=True)
    assert result.phi_rest == pytest.approx(0.5, abs=2.0 * result.u)
    assert result.phi_tapped is None


def test_without_a_tap_only_the_still_share_is_known():
    result = measure_turn(**turn(rest=0.5, tapped=0.5))
    assert result.phi_tapped is None
    assert result.answer() == {"phi_rest": result.phi_rest, "phi_tapped": None, "u": result.u}


def test_the_head_is_most_of_the_uncertainty():
    rough = measure_turn(**turn(), u_head_pct=2.0)
    assert rough.u == pytest.approx(0.02 * rough.phi_tapped, rel=0.05)


def test_a_share_above_one_is_refused_with_both_forces():
    with pytest.raises(ClampError, match=r"cell reads .* head pulls 80\.0 N"):
        measure_turn(**{**turn(), "head_n": 80.0})


def test_no_pull_no_head_no_readings_are_each_told():
    played = turn()
    slack = {**played, "force_n": np.random.default_rng(1).normal(0.0, 0.05, 1360)}
    with pytest.raises(ClampError, match="there is no pull"):
        measure_turn(**slack)
    with pytest.raises(ClampError, match="what the head pulls"):
        measure_turn(**{**played, "head_n": 0.0})
    with pytest.raises(ClampError, match="readings"):
        measure_turn(**{**played, "start_s": 16.9, "end_s": 17.0})


@pytest.mark.parametrize(
    ("wrap_deg", "grows"), [(30.0, 1.1104), (90.0, 1.3691), (180.0, 1.8745)]
)
def test_capstan_of_a_coefficient_of_a_fifth(wrap_deg, grows):
    """e^(μθ) for μ = 0.2, computed apart (four decimals)."""
    rounding = 5e-5 / grows / math.radians(wrap_deg)
    assert passes(1.0 / grows, wrap_deg).friction == pytest.approx(0.2, abs=rounding)


@pytest.mark.parametrize(("friction", "phi"), [(0.1, 0.73), (0.2, 0.53), (0.3, 0.39)])
def test_what_passes_half_a_turn(friction, phi):
    rounding = 0.005 / phi / math.pi
    assert passes(phi, 180.0).friction == pytest.approx(friction, abs=rounding)


@given(st.floats(0.01, 0.5), st.floats(10.0, 360.0))
def test_friction_comes_back_from_what_passes(friction, wrap_deg):
    phi = math.exp(-friction * math.radians(wrap_deg))
    assert passes(phi, wrap_deg).friction == pytest.approx(friction)


def passes(phi, wrap_deg):
    return TurnResult(phi_rest=phi, phi_tapped=None, u=0.0, wrap_deg=wrap_deg)
