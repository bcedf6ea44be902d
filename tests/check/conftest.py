"""Morning checks made of numbers, with their truth: masses that are hung by hand.

Nothing here knows how they are analysed. A mass is lifted into place (with bumps and
sometimes a hand that goes on carrying part of it), let go, swings on one frequency with a
little of the double one, dies down in a draught; the cell creeps, bows, lags by its own
hysteresis; zero walks; lines are lost and spikes come through.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from tensionlog.check.analysis import analyse_check
from tensionlog.check.result import Load
from tensionlog.model.recording import Calibration

G = 9.81
AIR = 0.99985
COUNTS_PER_N = 9120.0
ZERO_COUNTS = 84211.0
CALIBRATION = Calibration((-ZERO_COUNTS / COUNTS_PER_N, 1 / COUNTS_PER_N))
MPE_MG_PER_KG = {"M1": 50.0, "M2": 160.0, "M3": 500.0}


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What a bench is like, and how its operator hangs masses."""

    sequence_kg: tuple[float, ...] = (0, 5, 10, 5, 0)
    set_kg: tuple[float, ...] = (5, 10)
    hold_s: tuple[float, float] = (9.0, 16.0)
    rate_hz: float = 80.0
    noise_n: float = 0.05
    walk_n_per_root_s: float = 0.005
    zero_n: float = 1.3
    span_pct: float = 0.1
    bow_pct: float = 0.0
    hysteresis_pct: float = 0.0
    creep_pct: float = 0.0
    creep_tau_s: float = 40.0
    swing_pct: tuple[float, float] = (0.5, 4.0)
    swing_tau_s: tuple[float, float] = (1.0, 4.0)
    hand_s: tuple[float, float] = (1.0, 4.0)
    carries: float = 0.3
    draught_n: float = 0.0
    lost: float = 0.01
    spikes: float = 0.002
    mass_class: str | None = None
    u_mass_pct: float | None = None
    wired: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Recording:
    """The arrays of one check, and the truth."""

    t_s: np.ndarray
    counts: np.ndarray
    loads: tuple[Load, ...]
    end_s: float
    body: dict
    bench: Bench
    error_n: np.ndarray = field(repr=False)

    def analysed(self, **changes):
        """The check as the package reads it, with some arguments changed."""
        asked = {
            "t_s": self.t_s,
            "counts": self.counts,
            "loads": self.loads,
            "end_s": self.end_s,
            "calibration": CALIBRATION,
            "reference": self.body,
            "adc_bits": 24,
        }
        return analyse_check(**asked | changes)


def hung(rng, bench, sequence_n, edges_s, t):
    """Force on the cell, shape (n,): every load as it is handled, let go and swings."""
    force, before = np.zeros_like(t), 0.0
    for target, begin, end in zip(sequence_n, edges_s[:-1], edges_s[1:], strict=True):
        inside = (t >= begin) & (t < end)
        force[inside] = one_load(rng, bench, before, target, t[inside] - begin)
        before = target
    return force


def one_load(rng, bench, before, target, u):
    reach = rng.uniform(0.2, 1.2)
    free = reach + rng.uniform(*bench.hand_s)
    way = np.clip((u - reach) / (free - reach), 0, 1)
    if rng.random() < bench.carries and target:
        # the hand goes on carrying a part of it for a while, quite still
        part = rng.uniform(0.6, 0.95)
        way = np.interp(way, [0, 0.3, 0.9, 1], [0, part, part, 1])
    handled = before + (target - before) * way
    if (u > reach).any():
        bumps = np.interp(
            u,
            np.arange(0, u[-1] + 1, 0.2),
            rng.normal(size=int(u[-1] * 5) + 6)[: len(np.arange(0, u[-1] + 1, 0.2))],
        )
        handled = handled + bumps * 0.04 * max(before, target) * ((u > reach) & (u < free))
    return handled + swing(rng, bench, target or 0.05 * before, u - free)


def swing(rng, bench, weight, v):
    amplitude = weight * rng.uniform(*bench.swing_pct) / 100
    hz, tau = rng.uniform(0.5, 1.5), rng.uniform(*bench.swing_tau_s)
    phase = rng.uniform(0, 2 * np.pi)
    main = amplitude * np.exp(-v / tau) * np.cos(2 * np.pi * hz * v + phase)
    double = 0.15 * amplitude * np.exp(-2 * v / tau) * np.cos(4 * np.pi * hz * v)
    return np.where(v > 0, main + double, 0.0)


def creeping(bench, force, t):
    """What the cell's creep adds: it follows the load with a time constant."""
    if not bench.creep_pct:
        return 0.0
    step = np.diff(t, prepend=t[0]) / bench.creep_tau_s
    state, states = 0.0, np.empty_like(t)
    for i, (f, d) in enumerate(zip(force, step, strict=True)):
        state += d * (bench.creep_pct / 100 * f - state)
        states[i] = state
    return states


def draught(rng, sd, n, rate):
    if not sd:
        return 0.0
    noise = rng.normal(size=n)
    spectrum, hz = np.fft.rfft(noise), np.fft.rfftfreq(n, 1 / rate)
    spectrum[(hz < 0.3) | (hz > 2.0)] = 0
    gust = np.fft.irfft(spectrum, n)
    return sd * gust / gust.std()


def bow_n(bench, force, top):
    return 4 * bench.bow_pct / 100 * force * (1 - force / top)


def made(rng, bench):
    """One recording of a bench; the same generator state gives the same one."""
    masses = np.array(bench.sequence_kg, dtype=float)
    spans = [rng.uniform(*bench.hold_s) for _ in masses]
    edges = np.concatenate([[0.0], np.cumsum(spans)])
    t = np.arange(0.0, edges[-1], 1 / bench.rate_hz)
    true_kg = masses * (1 + mass_errors(rng, bench))
    force = hung(rng, bench, true_kg * G * AIR, edges, t)
    top = max(*true_kg, 1.0) * G * AIR
    falling = np.diff(masses, prepend=0) < 0
    part = masses / max(masses.max(), 1.0)
    lag = bench.hysteresis_pct / 100 * top * falling * 4 * part * (1 - part)
    cell = force * (1 + bench.span_pct / 100) + bow_n(bench, force, top)
    cell = cell + creeping(bench, force, t) + lag[np.searchsorted(edges, t, "right") - 1]
    walk = np.cumsum(rng.normal(size=len(t))) * bench.walk_n_per_root_s / np.sqrt(bench.rate_hz)
    n = cell + bench.zero_n + walk + rng.normal(0, bench.noise_n, len(t))
    n = n + draught(rng, bench.draught_n, len(t), bench.rate_hz)
    counts = np.round(ZERO_COUNTS + bench.wired * n * COUNTS_PER_N)
    spike = rng.random(len(t)) < bench.spikes
    counts[spike] += rng.choice([-1, 1], spike.sum()) * 2.0**20
    kept = rng.random(len(t)) >= bench.lost
    loads = tuple(Load(e, mass_kg=m) for e, m in zip(edges[:-1], masses, strict=True))
    true = true_kg[masses > 0] * G * AIR
    return Recording(
        t_s=t[kept],
        counts=counts[kept],
        loads=loads,
        end_s=float(edges[-1]),
        body=body_of(bench),
        bench=bench,
        # what the cell reads too much of the *true* force; the masses' own error is u's
        error_n=true * bench.span_pct / 100 + bow_n(bench, true, top) + lag[masses > 0],
    )


def mass_errors(rng, bench):
    masses = np.array(bench.sequence_kg, dtype=float)
    if bench.u_mass_pct is not None:
        return np.full(len(masses), rng.normal(0, bench.u_mass_pct / 100))
    limit = MPE_MG_PER_KG.get(bench.mass_class or "", 0.0) * 1e-6
    own = {m: rng.uniform(-limit, limit) for m in sorted(set(masses))}
    return np.array([own[m] for m in masses])


def body_of(bench):
    body = {"reference": "masses", "masses_kg": list(bench.set_kg), "gravity": G}
    if bench.mass_class:
        body["mass_class"] = bench.mass_class
    if bench.u_mass_pct is not None:
        body["u_mass_pct"] = bench.u_mass_pct
    return body


DAILY = Bench(sequence_kg=(0, 10, 0), set_kg=(10,))
WEEKLY = Bench(sequence_kg=(0, 5, 10, 15, 10, 5, 0), set_kg=(5, 10, 15))


def any_bench(rng):
    """A bench drawn at large: daily or weekly, quiet or draughty, fast or slow."""
    base = (DAILY, WEEKLY, replace(DAILY, sequence_kg=(0, 10)))[rng.integers(3)]
    doubt = [{}, {"mass_class": "M1"}, {"mass_class": "M2"}, {"u_mass_pct": 0.01}]
    return replace(
        base,
        rate_hz=float(rng.choice([10, 80, 80, 320])),
        noise_n=10 ** rng.uniform(-2, -1),
        walk_n_per_root_s=rng.uniform(0.002, 0.01),
        zero_n=rng.uniform(-5, 5),
        span_pct=rng.uniform(-0.6, 0.6),
        draught_n=float(rng.choice([0.0, 0.0, 0.03])),
        **doubt[rng.integers(len(doubt))],
    )


@pytest.fixture(scope="session")
def check():
    """The generator's names, for tests that import nothing from one another."""

    class Names:
        bench, daily, weekly, any_bench = Bench, DAILY, WEEKLY, staticmethod(any_bench)
        made, calibration, counts_per_n = staticmethod(made), CALIBRATION, COUNTS_PER_N

    return Names
