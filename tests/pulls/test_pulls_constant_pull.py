"""The dip on a motor head: size, moment and doubt, over a saw-tooth that must not fool it.

The motor is integrated step by step here (rest inside a band, pull back exponentially),
and shown through a converter; nothing is shared with the rooms under test.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.stats import binom

from tensionlog.pulls.constant_pull import Motor, learn_motor, read_constant_pull
from tensionlog.pulls.shape import Shape, shape_of

SET_N, SHARE, ORIGIN_S = 116.0, 0.04, 0.2
FINE_S = 1.0 / 1280.0
HALF_S = (-0.5 * FINE_S, 0.5 * FINE_S)


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A motor, its converter and the noise."""

    tau_s: float = 0.15
    band_n: float = 0.9
    boxes: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0)
    rate_hz: float = 80.0
    noise_n: float = 0.04


@dataclass(frozen=True, kw_only=True)
class Case:
    """One hold and what happened in it."""

    shape: Shape
    drop_n: float
    release_s: float
    before_n: float


def force_of(
    bench: Bench,
    *,
    drop_n: float,
    release_s: float,
    fall_s: float,
    end_s: float,
    first_n: float,
) -> np.ndarray:
    """Force on the fine grid from the ramp's end on."""
    force, pulling, out = SET_N + first_n, False, []
    one_step = 1.0 - np.exp(-FINE_S / bench.tau_s)
    for i in range(round(end_s / FINE_S)):
        t = (i + 0.5) * FINE_S
        gone, going = (min(max((t + h - release_s) / fall_s, 0.0), 1.0) for h in HALF_S)
        force -= drop_n * (going - gone)
        if not pulling:
            force -= SHARE * SET_N / np.log(10.0) * FINE_S / (t + ORIGIN_S)
            pulling = force < SET_N - bench.band_n
        else:
            force += (SET_N - force) * one_step
            pulling = force < SET_N - 0.05 * bench.band_n
        out.append(force)
    return np.array(out)


def case(sim, bench: Bench, seed: int, *, drop_n: float, push_n: float = 0.0) -> Case:
    """Empty, ramp, hold, let-off, empty, through the finder."""
    rng = np.random.default_rng([seed, 11])
    release, end = rng.uniform(0.7, 1.6), 3.2
    force = force_of(
        bench,
        drop_n=drop_n,
        release_s=release,
        fall_s=rng.uniform(0.006, 0.028),
        end_s=end,
        first_n=rng.uniform(0.0, 0.3) * bench.band_n,
    )
    at = round(release / FINE_S)
    before = float(force[at - 1])
    if push_n:
        at = np.arange(len(force)) * FINE_S - release - 0.9
        pushed = np.where((at > 0.0) & (at < 0.3), np.sin(np.pi * at / 0.3) ** 2, 0.0)
        force = force + push_n * pushed
    empty, off = np.zeros(round(3.0 / FINE_S)), np.linspace(force[-1], 0.0, 200)
    ramp = np.linspace(0.0, force[0], round(0.5 / FINE_S))
    fine = np.concatenate([empty, ramp, force, off, empty])
    for box in bench.boxes:
        width = round(box / bench.rate_hz / FINE_S)
        total = np.cumsum(np.concatenate([np.zeros(width), fine]))
        fine = (total[width:] - total[:-width]) / width
    period = 1.0 / bench.rate_hz
    t = np.arange(rng.uniform(0.0, period), (len(fine) - 1) * FINE_S, period)
    y = np.interp(t, np.arange(len(fine)) * FINE_S, fine)
    y = y + rng.normal(0.0, bench.noise_n, len(t))
    (stretch,) = sim.stretches(t, y, rate_hz=bench.rate_hz)
    return Case(
        shape=shape_of(stretch, calibration=sim.scale),
        drop_n=drop_n,
        release_s=(len(empty) + len(ramp)) * FINE_S + release,
        before_n=before,
    )


def job(sim, bench: Bench, drops: list[float], seed: int = 0) -> list[Case]:
    return [case(sim, bench, 100 * seed + i, drop_n=d) for i, d in enumerate(drops)]


def bound_n(bench: Bench, *, before_s: float = 0.35, after_s: float = 0.8) -> float:
    """Cramér–Rao bound of the drop: level, slope, drop and upper edge unknown.

    One straight stretch before, an exponential recovery behind, moment and τ known.
    """
    t = np.arange(-before_s, after_s, 1.0 / bench.rate_hz)
    behind = t > 0.0
    left = np.where(behind, np.exp(-np.maximum(t, 0.0) / bench.tau_s), 0.0)
    level, edge = np.where(behind, left, 1.0), np.where(behind, 1.0 - left, 0.0)
    columns = np.column_stack([level, np.minimum(t, 0.0), -left, edge])
    return bench.noise_n * float(np.sqrt(np.linalg.inv(columns.T @ columns)[2, 2]))


BENCHES = [
    Bench(),
    Bench(tau_s=0.09, boxes=(2.0,), band_n=0.7, noise_n=0.06),
    Bench(tau_s=0.25, boxes=(4.0,), band_n=1.2, noise_n=0.05),
]
ONE_BENCH_ALWAYS = [BENCHES[0], *(pytest.param(b, marks=pytest.mark.long) for b in BENCHES[1:])]


@pytest.fixture(scope="module", params=ONE_BENCH_ALWAYS, ids=["four ones", "two", "four"])
def deep(request, sim):
    """A job of clear drops: what is known of the motor, the cases and what was read."""
    bench = request.param
    rng = np.random.default_rng(5)
    cases = job(sim, bench, list(rng.uniform(1.5, 6.0, 18)), seed=1)
    motor = learn_motor([c.shape for c in cases])
    return bench, motor, [(c, read_constant_pull(c.shape, motor=motor)) for c in cases]


def test_the_time_constant_is_found_to_a_twentieth(deep):
    bench, motor, _ = deep
    assert motor.tau_s == pytest.approx(bench.tau_s, rel=0.05)


def test_the_drop_is_not_far_from_the_bound(deep):
    """The bound is that of a motor at rest before; half of these releases meet it pulling."""
    bench, _, read = deep
    errors = np.array([hold.drop - c.drop_n for c, hold in read])
    assert np.sqrt(np.mean(errors**2)) < 4.5 * bound_n(bench)


def test_what_is_said_about_the_doubt_covers_the_truth(deep):
    _, _, read = deep
    inside = sum(abs(hold.drop - c.drop_n) <= 2.0 * hold.u_drop for c, hold in read)
    assert binom.cdf(inside, len(read), 0.95) > 0.01


def test_every_clear_drop_is_seen_within_a_sample(deep):
    bench, _, read = deep
    assert all(hold.seen for _, hold in read)
    errors = [(hold.release_s - c.release_s) * bench.rate_hz for c, hold in read]
    assert np.median(np.abs(errors)) < 1.0


def test_the_top_is_the_reading_just_before(deep):
    bench, _, read = deep
    errors = [hold.top - c.before_n for c, hold in read]
    assert np.median(np.abs(errors)) < 0.25 * bench.band_n


@pytest.mark.parametrize("bench", ONE_BENCH_ALWAYS)
def test_a_saw_tooth_without_a_fall_is_no_release(sim, bench):
    cases = job(sim, bench, [3.0, 4.0, 2.5, 5.0] + [0.0] * 12, seed=2)
    motor = learn_motor([c.shape for c in cases])
    holds = [read_constant_pull(c.shape, motor=motor) for c in cases[4:]]
    assert not any(hold.seen for hold in holds)
    assert sum(abs(hold.drop) <= 2.0 * hold.u_drop for hold in holds) >= 10
    assert all(hold.top == hold.release and hold.release_s is None for hold in holds)


def test_a_job_without_a_dip_learns_its_motor_from_the_teeth(sim):
    bench = Bench(tau_s=0.08, band_n=2.0)
    motor = learn_motor([c.shape for c in job(sim, bench, [0.0] * 12, seed=3)])
    assert motor.tau_s == pytest.approx(bench.tau_s, rel=0.3)


def test_a_fall_inside_the_band_stays(sim):
    bench = Bench(band_n=2.5, noise_n=0.02)
    cases = [case(sim, bench, i, drop_n=0.8) for i in range(12)]
    motor = Motor(tau_s=0.15, u_ln_tau=0.05, tooth=0.0215)
    holds = [read_constant_pull(c.shape, motor=motor) for c in cases]
    stayed = [h for h in holds if h.seen and h.release == pytest.approx(h.top - h.drop)]
    assert len(stayed) >= 4
    assert np.median([h.drop for h in stayed]) == pytest.approx(0.8, abs=0.15)


def test_a_push_by_hand_is_left_out(sim):
    bench = Bench()
    motor = Motor(tau_s=0.15, u_ln_tau=0.03, tooth=0.0078)
    cases = [case(sim, bench, 40 + i, drop_n=3.0, push_n=6.0) for i in range(10)]
    holds = [read_constant_pull(c.shape, motor=motor) for c in cases]
    errors = [hold.drop - 3.0 for hold in holds]
    assert np.median(np.abs(errors)) < 0.12


def test_faster_sampling_tells_more_and_costs_no_accuracy(sim):
    fast = Bench(rate_hz=1280.0, noise_n=0.16)
    motor = Motor(tau_s=0.15, u_ln_tau=0.03, tooth=0.0078)
    cases = job(sim, fast, [2.0, 3.0, 4.0, 5.0, 2.5, 3.5], seed=4)
    holds = [read_constant_pull(c.shape, motor=motor) for c in cases]
    errors = [hold.drop - c.drop_n for c, hold in zip(cases, holds, strict=True)]
    assert np.sqrt(np.mean(np.square(errors))) < 0.12


def test_a_lever_says_when_and_the_size_is_read_there(sim):
    c = case(sim, Bench(), 70, drop_n=2.0)
    motor = Motor(tau_s=0.15, u_ln_tau=0.03, tooth=0.0078)
    hold = read_constant_pull(c.shape, motor=motor, release_at=c.release_s)
    assert hold.seen
    assert hold.drop == pytest.approx(2.0, abs=0.15)


def test_below_forty_a_second_no_dip_is_claimed(sim):
    c = case(sim, Bench(rate_hz=10.0, boxes=(1.0,)), 80, drop_n=3.0)
    hold = read_constant_pull(c.shape, motor=Motor())
    assert hold.drop is None
    assert not hold.seen


def test_a_hold_that_is_over_at_once_says_nothing(sim):
    whole = case(sim, Bench(), 90, drop_n=0.0).shape
    short = replace(whole, let_off=whole.top + 10)
    assert read_constant_pull(short, motor=Motor()) is None


def test_a_hold_that_a_hand_was_in_all_along_says_nothing(sim, monkeypatch):
    """As a page reads a pull whose ramp has hardly ended; a mean of nothing is no number."""
    shape = case(sim, Bench(), 91, drop_n=0.0).shape
    monkeypatch.setattr(
        "tensionlog.pulls.motor_hold.disturbed",
        lambda trace, tooth: np.ones(len(trace.t), bool),
    )
    assert read_constant_pull(shape, motor=Motor()) is None
