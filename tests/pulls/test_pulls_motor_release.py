"""Releases on a motor whose switching a job has shown, against a motor stepped in time."""

from typing import NamedTuple

import numpy as np
import pytest

from tensionlog.pulls.dip import Trace
from tensionlog.pulls.motor import Motor, Switching
from tensionlog.pulls.motor_hold import Held, candidates
from tensionlog.pulls.motor_release import fit_release
from tensionlog.pulls.motor_switching import Fallen, learn_switching

pytestmark = pytest.mark.long

PERIOD_S = 0.0125
BOXES = (PERIOD_S,) * 3
UPPER, BAND, SHORT, LOSS = 100.0, 1.0, 0.05, 4.0
STEP_S = 0.0005


class Made(NamedTuple):
    """A hold, and what was done to it."""

    hold: Held
    drop: float
    at: float


def stepped(rng: np.random.Generator, *, drop: float, at: float, tau: float) -> np.ndarray:
    """Force of a hold of three seconds on a motor with a dead band, step by step."""
    force, pulls, out = UPPER - float(rng.uniform(0.0, BAND)), bool(rng.random() < 0.5), []
    fall_s = float(rng.uniform(0.006, 0.028))
    for i in range(round(3.0 / STEP_S)):
        now = i * STEP_S
        if pulls:
            force += (UPPER - force) * STEP_S / tau
            pulls = UPPER - force > SHORT * BAND
        else:
            force -= LOSS / np.log(10.0) * STEP_S / (now + 0.5)
            pulls = UPPER - force > BAND
        force -= drop * STEP_S / fall_s if at <= now < at + fall_s else 0.0
        out.append(force)
    return np.array(out)


def made(seed: int, *, drop: float, noise: float = 0.04, tau: float = 0.15) -> Made:
    rng = np.random.default_rng(seed)
    at = float(rng.uniform(0.9, 1.6))
    force = stepped(rng, drop=drop, at=at, tau=tau)
    for width_s in BOXES:
        few = round(width_s / STEP_S)
        force = np.convolve(np.pad(force, (few - 1, 0), "edge"), np.ones(few) / few, "valid")
    t = np.arange(0.1, 2.95, PERIOD_S)
    y = np.interp(t, STEP_S * np.arange(len(force)), force) + rng.normal(0, noise, len(t))
    trace = Trace(t=t, y=y, noise=noise, period=PERIOD_S, boxes_s=BOXES)
    return Made(hold=Held(trace=trace, top_t=-0.3, level=float(np.median(y))), drop=drop, at=at)


def known(tau: float = 0.15) -> Motor:
    switching = Switching(u_ln_tau=0.02, u_band=0.0003, short=SHORT, u_short=0.01)
    return Motor(
        tau_s=tau,
        converter=(1.0, 1.0, 1.0),
        share=LOSS / UPPER,
        u_share=0.004,
        tooth=BAND / UPPER,
        switching=switching,
    )


def test_drops_are_found_within_their_own_uncertainty():
    rng = np.random.default_rng(5)
    z, late = [], []
    for seed in range(16):
        pull = made(seed, drop=float(rng.uniform(1.0, 6.0)))
        dip = fit_release(pull.hold, known(), candidates(pull.hold, known()))
        assert dip is not None and dip.seen
        z.append((dip.drop - pull.drop) / dip.u_drop)
        late.append((dip.begin_s - pull.at) / PERIOD_S)

    # 16 independent drops: 15.2 expected within 2 u, fewer than 13 once in a hundred
    assert np.sum(np.abs(z) < 2.0) >= 13
    assert np.median(np.abs(late)) < 0.5


def test_a_motor_that_starts_by_its_own_rule_is_no_release():
    seen = 0
    for seed in range(100, 107):
        pull = made(seed, drop=0.0)
        dip = fit_release(pull.hold, known(), candidates(pull.hold, known()))
        seen += dip is not None and dip.seen and dip.gain > 50.0

    assert seen == 0


@pytest.mark.parametrize("tau", [0.1, 0.22])
def test_a_job_shows_time_constant_band_and_loss(tau: float):
    rng = np.random.default_rng(8)
    pulls = [made(seed, drop=float(rng.uniform(2.0, 6.0)), tau=tau) for seed in range(30, 36)]
    found = [Fallen(hold=p.hold, period=PERIOD_S, at=p.at, depth=p.drop) for p in pulls]
    motor = learn_switching(found, Motor(tooth=0.012))

    assert motor is not None and motor.switching is not None
    assert motor.tau_s == pytest.approx(tau, rel=0.06)
    # Dips say little of the band: it decides only when in the fall the motor starts.
    assert motor.tooth * UPPER == pytest.approx(BAND, rel=0.3)
    assert motor.share * UPPER == pytest.approx(LOSS, rel=0.4)


def test_dips_that_no_switching_explains_teach_none():
    rng = np.random.default_rng(9)
    found = []
    for seed in range(50, 55):
        pull = made(seed, drop=float(rng.uniform(2.0, 6.0)))
        trace = pull.hold.trace
        # A drive that swings about its goal after every fall.
        swing = np.where(trace.t > pull.at, np.sin(30.0 * (trace.t - pull.at)), 0.0)
        swung = Trace(t=trace.t, y=trace.y + swing, noise=0.04, period=PERIOD_S, boxes_s=BOXES)
        hold = Held(trace=swung, top_t=-0.3, level=pull.hold.level)
        found.append(Fallen(hold=hold, period=PERIOD_S, at=pull.at, depth=pull.drop))

    assert learn_switching(found, Motor(tooth=0.012)) is None
