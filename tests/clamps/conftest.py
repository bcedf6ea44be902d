"""Hold tests made of numbers, with their truth.

Nothing here knows how they are measured. Three heads; a let-off that is straight or
soft; a clamp that flexes, slips, creeps and lets go in steps; a hand that pushes the
reading as it shuts the clamp; a converter that answers late; a zero that wanders;
spikes; notes that stand up to a second off. Strings and clamps are invented.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tensionlog.clamps.hold import measure_hold
from tensionlog.clamps.hold_result import HoldResult

Floats = NDArray[np.float64]
HEADS = ("lockout", "constant-pull", "drop-weight")
RATES_HZ = (10.0, 40.0, 80.0, 92.8, 320.0)
FINE = 8


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What really happened."""

    head: str
    rate_hz: float
    loss_n: float
    held_n: float
    creep_n_per_s: float
    slips: tuple[tuple[float, float], ...]
    flex_mm: float
    slip_mm: float
    hand_off_s: float
    re_pulled: bool


@dataclass(frozen=True, kw_only=True)
class HoldTest:
    """Readings with their notes, and the truth about them."""

    truth: Truth
    given: dict[str, Any] = field(default_factory=dict)

    def measured(self, **changed: Any) -> HoldResult:
        """Measure it, with some of what is given changed."""
        return measure_hold(**{**self.given, **changed})


class Play:
    """One hold test in the making; every quantity may be fixed from outside."""

    def __init__(self, seed: int, **fixed: Any) -> None:
        self.rng = np.random.default_rng(seed)
        self.fixed = fixed
        self.head = str(self.pick("head", HEADS))
        self.rate_hz = float(self.pick("rate_hz", RATES_HZ))
        self.target_n = self.draw("target_n", 85.0, 250.0)
        self.relaxation = self.draw("relaxation", 0.02, 0.07)
        self.tau_s = self.draw("tau_s", 0.1, 0.3)
        self.span_m = self.draw("span_m", 0.3, 0.6)
        self.ea_n = self.draw("ea_n", 13.0, 40.0) * self.target_n
        self._draw_times()
        self._draw_clamp()
        self.t_s = np.arange(0.0, self.end_s + 0.8, 1.0 / self.rate_hz / FINE)

    def draw(self, name: str, low: float, high: float) -> float:
        """A number between two, or the fixed one of that name."""
        drawn = float(self.rng.uniform(low, high))
        return float(self.fixed.get(name, drawn))

    def pick(self, name: str, choices: tuple[Any, ...]) -> Any:
        """One of the choices, or the fixed one of that name."""
        drawn = choices[self.rng.integers(len(choices))]
        return self.fixed.get(name, drawn)

    def _draw_times(self) -> None:
        self.pull_s = self.draw("idle_s", 1.5, 4.0)
        self.top_s = self.pull_s + self.draw("ramp_s", 0.5, 1.8)
        self.off_s = self.top_s + self.draw("hold_s", 2.5, 4.5)
        self.takes_s = self.draw("takes_s", 0.05, 0.3)
        self.soft = bool(self.pick("soft", (True, False)))
        self.re_pulled = bool(self.pick("re_pull", (True, False)))
        self.again_s = self.off_s + self.draw("again_s", 2.8, 4.5)
        self.full_s = self.again_s + self.draw("rise_s", 0.4, 1.5)
        self.fall_s = self.full_s + self.draw("again_hold_s", 1.0, 3.0)
        self.rest_s = self.fall_s + self.draw("again_takes_s", 0.05, 0.3)
        after_s = self.draw("after_s", 14.0, 20.0)
        self.end_s = max(self.off_s + after_s, self.rest_s + 8.0 if self.re_pulled else 0.0)

    def _draw_clamp(self) -> None:
        self.n_per_mm = self.ea_n / self.span_m / 1000.0
        self.flex_mm = self.target_n / self.draw("stiffness", 150.0, 250.0)
        much = self.draw("much_slip_mm", 0.4, 1.5)
        self.slip_mm = float(self.pick("slip_mm", (self.draw("less_mm", 0.02, 0.4), much)))
        most_mm = 0.35 * self.target_n / self.n_per_mm
        shrink = min(1.0, most_mm / (self.flex_mm + self.slip_mm))
        self.flex_mm, self.slip_mm = self.flex_mm * shrink, self.slip_mm * shrink
        self.loss_n = self.n_per_mm * (self.flex_mm + self.slip_mm)
        creeps = (0.0, 0.0, self.rng.uniform(0.0, 0.05), self.rng.uniform(0.05, 0.3))
        self.creep = float(self.pick("creep", creeps))
        self.slips = self._draw_slips(int(self.pick("n_slips", (0, 0, 1, 2, 4))))

    def _draw_slips(self, wanted: int) -> list[tuple[float, float]]:
        apart_s, found = 0.8 + 4.0 / self.rate_hz, list[tuple[float, float]]()
        for _ in range(60 * wanted):
            at_s = float(self.rng.uniform(1.0 + 4.0 / self.rate_hz, 13.0))
            clear = all(abs(at_s - other) > apart_s for other, _ in found)
            if self.re_pulled:
                busy_s = (self.again_s - 1.0, self.rest_s + apart_s)
                clear &= not busy_s[0] < self.off_s + at_s < busy_s[1]
            if clear and len(found) < wanted and abs(at_s - 3.0) > 0.1:
                found.append((at_s, self.draw("slip_n", 1.0, 4.0)))
        return sorted(found)

    def decades(self, t_s: Floats) -> Floats:
        """Decades of relaxation since age 0."""
        return np.log10(1.0 + np.maximum(t_s, 0.0) / self.tau_s)

    def relaxing(self, since_s: float) -> Floats:
        """A unit step at `since_s` that relaxes from then on."""
        return (self.t_s >= since_s) * (
            1.0 - self.relaxation * self.decades(self.t_s - since_s)
        )

    def held_by_head(self) -> Floats:
        """Force while the head holds."""
        age_s = self.t_s - self.top_s
        if self.head == "lockout":
            springs = self.pick("springs_back", (0.0, 0.02)) * np.exp(
                -np.maximum(age_s, 0) / 0.03
            )
            return self.target_n * (1.0 - self.relaxation * self.decades(age_s) + springs)
        if self.head == "drop-weight":
            hertz, dies_s = self.draw("hertz", 0.5, 1.2), self.draw("dies_s", 0.3, 0.7)
            swing = self.draw("swing", 0.01, 0.05) * np.exp(-np.maximum(age_s, 0) / dies_s)
            return self.target_n * (1.0 + swing * np.cos(2 * np.pi * hertz * age_s + 1.0))
        return self._sawing(age_s)

    def _sawing(self, age_s: Floats) -> Floats:
        """Loses as the string relaxes, is made good at the band's lower edge."""
        band_n, follows_s = self.draw("band_n", 0.15, 0.6), self.draw("follows_s", 0.1, 0.3)
        force, level, drives = np.empty_like(age_s), self.target_n, False
        step_s = self.t_s[1]
        rate = (
            self.target_n * self.relaxation / np.log(10.0) / (np.maximum(age_s, 0) + self.tau_s)
        )
        for i in range(len(force)):
            if drives:
                level += (self.target_n + band_n - level) * step_s / follows_s
                drives = level < self.target_n + 0.5 * band_n
            elif age_s[i] > 0:
                level -= rate[i] * step_s
                drives = level < self.target_n - 0.5 * band_n
            force[i] = level
        return force + 0.02 * self.target_n * np.exp(-np.maximum(age_s, 0) / 0.1)

    def force(self) -> Floats:
        """Force at the cell, finely."""
        held = self.held_by_head()
        off = int(np.searchsorted(self.t_s, self.off_s))
        share = np.clip((self.t_s - self.off_s) / self.takes_s, 0.0, 1.0)
        share = share * share * (3.0 - 2.0 * share) if self.soft else share
        alone = self.string_alone(float(held[off])) - self.loss_n * share * self.relaxing(
            self.off_s
        )
        alone -= self.creep * np.maximum(self.t_s - self.off_s, 0.0)
        for at_s, size_n in self.slips:
            alone -= size_n * self.relaxing(self.off_s + at_s)
        self.alone = alone.copy()
        if self.re_pulled:
            alone += self.given_back()
        ramp = self.target_n * np.clip(
            (self.t_s - self.pull_s) / (self.top_s - self.pull_s), 0, 1
        )
        force = np.where(self.t_s < self.top_s, ramp * held[off] / self.target_n, held)
        return np.where(self.t_s < self.off_s, force + self.push(), alone)

    def string_alone(self, at_hand_off: float) -> Floats:
        """Force at fixed length, nothing lost."""
        grown = self.decades(self.t_s - self.top_s)
        grown = grown - self.decades(np.array([self.off_s - self.top_s]))
        return at_hand_off - self.target_n * self.relaxation * grown

    def given_back(self) -> Floats:
        """What the second pull gives back and takes again."""
        flex_n = self.n_per_mm * self.flex_mm
        rise = np.clip((self.t_s - self.again_s) / (self.full_s - self.again_s), 0.0, 1.0)
        fall = np.clip((self.t_s - self.fall_s) / (self.rest_s - self.fall_s), 0.0, 1.0)
        fades = 1.0 - self.relaxation * self.decades(self.t_s - self.full_s)
        return flex_n * (rise * fades - fall * self.relaxing(self.fall_s))

    def push(self) -> Floats:
        """The hand on the lever, just before the let-off."""
        middle_s = self.off_s - self.draw("push_s", 0.05, 0.15)
        size = self.draw("push_n", -0.5, 0.5)
        return size * np.exp(-0.5 * ((self.t_s - middle_s) / 0.03) ** 2)

    def readings(self, force: Floats) -> Floats:
        """What the converter says, once per conversion."""
        answer = np.ones(4 * FINE) / (4 * FINE)
        padded = np.concatenate([np.full(4 * FINE - 1, force[0]), force])
        said = np.convolve(padded, answer, mode="valid")[::FINE]
        n = len(said)
        noise = self.draw("noise_n", 0.02, 0.08) * self.rng.normal(size=n)
        wander = np.exp(self.rng.uniform(np.log(0.002), np.log(0.01)))
        wander = float(self.fixed.get("wander", wander)) / np.sqrt(self.rate_hz)
        spikes = (self.rng.random(n) < 0.002) * self.rng.uniform(-30.0, 30.0, n)
        zero = self.draw("zero_n", -3.0, 3.0)
        return said + zero + noise + wander * np.cumsum(self.rng.normal(size=n)) + spikes

    def test(self) -> HoldTest:
        """Readings, notes and truth."""
        readings = self.readings(self.force())
        u_ea_pct = self.draw("u_ea_pct", 3.0, 3.0)
        given = {
            "t_s": self.t_s[::FINE],
            "readings": readings,
            "clamp": "A",
            "target_n": self.target_n,
            "span_m": self.span_m,
            "ea_n": self.ea_n * (1.0 + 0.01 * u_ea_pct * self.rng.normal()),
            "u_ea_pct": u_ea_pct,
            "hand_off_s": self.off_s + self.rng.uniform(-0.9, 0.9),
            "re_pull_s": self.again_s + self.rng.uniform(-0.7, 0.7) if self.re_pulled else None,
            "end_s": self.end_s,
            "head": self.head,
        }
        return HoldTest(truth=self.truth(), given=given)

    def truth(self) -> Truth:
        """What really happened."""
        return Truth(
            head=self.head,
            rate_hz=self.rate_hz,
            loss_n=self.loss_n,
            held_n=float(np.interp(self.off_s + 3.0, self.t_s, self.alone)),
            creep_n_per_s=self.creep,
            slips=tuple(self.slips),
            flex_mm=self.flex_mm,
            slip_mm=self.slip_mm,
            hand_off_s=self.off_s,
            re_pulled=self.re_pulled,
        )


@pytest.fixture
def play_hold() -> Callable[..., HoldTest]:
    """Play one hold test: `play_hold(seed, head=…, n_slips=…)`."""
    return lambda seed, **fixed: Play(seed, **fixed).test()
