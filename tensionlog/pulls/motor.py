"""A motor that keeps pulling: how it makes a fall good, as tables for one converter."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALLS_S, USUAL_CONVERTER, grid, smeared

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this a dip of 0.2–1 s is gone within the converter's own settling."""

STARTS = (0.0, 0.5, 1.0)
"""Share of the fall after which the motor starts: at once where it rested at its lower
edge or was pulling already, at the fall's end where the fall is little more than the
dead band."""

_LN_STEP = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Switching:
    """How a motor with a dead band switches, where a job's dips agree on it.

    Attributes:
        u_ln_tau: Standard uncertainty of ln τ.
        u_band: Of the band's height, as a share of the level; its height is the tooth.
        short: Share of the band by which the motor stops short of the upper edge.
        u_short: Standard uncertainty of that.
    """

    u_ln_tau: float
    u_band: float
    short: float
    u_short: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """What is known of a motor before a hold is looked at.

    Attributes:
        tau_s: Time constant of the recovery: area of a dip over its depth.
        u_ln_tau: Standard uncertainty of ln τ for one hold.
        reaction_s: Lag of its sensor, and of its speed; 0 for one that answers at once.
        converter: Averaging boxes of the converter, in conversions.
        share: Loss of the string per decade of time as a share of the level.
        u_share: Standard uncertainty of it for one hold.
        tooth: Height of the saw-tooth as a share of the level.
        switching: How it switches, where the job's dips agree on that.
    """

    tau_s: float = 0.16
    u_ln_tau: float = 0.5
    reaction_s: float = 0.0
    converter: tuple[float, ...] = USUAL_CONVERTER
    share: float = 0.04
    u_share: float = 0.02
    tooth: float = 0.008
    switching: Switching | None = None

    def tables(self, boxes_s: Sequence[float]) -> "Tables":
        """Tables for samples behind these averaging boxes."""
        rounded = tuple(float(f"{box:.3g}") for box in boxes_s)
        return _tables(round(self.tau_s, 5), self.reaction_s, rounded)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """What the motor does, smeared by the converter; every table runs from 0 on.

    Attributes:
        pulled: Share of the way to the upper edge, by time since the motor's start.
        pulled_slope: Its derivative by ln τ.
        steps: The fall alone for each of `FALLS_S`.
        dips: The fall and its recovery, by (fall, start) as in `FALLS_S` × `STARTS`.
        dip_slopes: Their derivatives by ln τ.
        width_s: Time in which the converter settles.
    """

    pulled: Floats
    pulled_slope: Floats
    steps: Floats
    dips: Floats
    dip_slopes: Floats
    width_s: float

    def fall(self, fall_s: float, share: float) -> Floats:
        """Table of a fall whose motor starts after `share` of it; below 0 alone."""
        if share < 0.0:
            return _between(self.steps, fall_s)
        return _started(_between(self.dips, fall_s), share)

    def by_fall(self, fall_s: float, share: float) -> Floats:
        """Its derivative by the duration of the fall."""
        h = 0.5 * (FALLS_S[1] - FALLS_S[0])
        longer, shorter = self.fall(fall_s + h, share), self.fall(fall_s - h, share)
        reach = np.clip([fall_s - h, fall_s + h], FALLS_S[0], FALLS_S[-1])
        result: Floats = (longer - shorter) / (reach[1] - reach[0])
        return result

    def by_tau(self, fall_s: float, share: float) -> Floats:
        """Its derivative by ln τ; `share` not below 0."""
        return _started(_between(self.dip_slopes, fall_s), share)

    def by_share(self, fall_s: float) -> Floats:
        """Its derivative by the share after which the motor starts."""
        mixed = _between(self.dips, fall_s)
        result: Floats = mixed[-1] - mixed[0]
        return result


def _between(tables: Floats, fall_s: float) -> Floats:
    """One of the falls' tables, shape (falls, …), or a mixture of two neighbours."""
    place = float(np.interp(fall_s, FALLS_S, np.arange(len(FALLS_S))))
    low = min(int(place), len(FALLS_S) - 2)
    result: Floats = tables[low] * (1.0 - place + low) + tables[low + 1] * (place - low)
    return result


def _started(tables: Floats, share: float) -> Floats:
    """The starts' tables, shape (starts, m), at one share of the fall."""
    place = float(np.interp(share, STARTS, np.arange(len(STARTS))))
    low = min(int(place), len(STARTS) - 2)
    result: Floats = tables[low] * (1.0 - place + low) + tables[low + 1] * (place - low)
    return result


def left_over(x: Floats, tau_s: float, lag_s: float) -> Floats:
    """What is left of a unit fall at `x` seconds after it, the motor moving since then.

    A loop that integrates the error behind a lagging sensor and a lagging motor,
    τ·s·(1 + λs)² + 1 = 0; an exponential without lag. Its area is τ for any lag.
    """
    if lag_s <= 0.0:
        return np.exp(-x / tau_s)
    poles = np.roots([tau_s * lag_s**2, 2.0 * tau_s * lag_s, tau_s, 1.0])
    weights = (1.0 + lag_s * poles) ** 2 / (
        3.0 * lag_s**2 * poles**2 + 4.0 * lag_s * poles + 1.0
    )
    return np.real(np.exp(x[:, None] * poles) @ weights)


@lru_cache(maxsize=64)
def _tables(tau_s: float, lag_s: float, boxes_s: tuple[float, ...]) -> Tables:
    x = grid(max(0.6, 6.0 * tau_s) + 0.1)
    low, high = (_rows(x, tau_s * f, lag_s, boxes_s) for f in (1 - _LN_STEP, 1 + _LN_STEP))
    middle, slope = 0.5 * (low + high), (high - low) / (2.0 * _LN_STEP)
    falls, starts = len(FALLS_S), len(STARTS)
    return Tables(
        pulled=middle[0],
        pulled_slope=slope[0],
        steps=middle[1 : 1 + falls],
        dips=middle[1 + falls :].reshape(falls, starts, -1),
        dip_slopes=slope[1 + falls :].reshape(falls, starts, -1),
        width_s=sum(boxes_s),
    )


def _rows(x: Floats, tau_s: float, lag_s: float, boxes_s: tuple[float, ...]) -> Floats:
    """All tables at one time constant: pulled, steps, dips; shape (1 + 3 + 9, m)."""
    left = left_over(x, tau_s, lag_s)
    steps = [np.minimum(x / fall_s, 1.0) for fall_s in FALLS_S]
    dips = [_dip(x, left, f, start) for f in FALLS_S for start in STARTS]
    return smeared(np.vstack([1.0 - left, *steps, *dips]), boxes_s)


def _dip(x: Floats, left: Floats, fall_s: float, start: float) -> Floats:
    """A fall of `fall_s` that is made good from `start` of its duration on."""
    wait_s = start * fall_s
    done = np.interp(x - wait_s, x, left)
    rest_s = fall_s - wait_s
    if rest_s > 1e-4:
        area = np.concatenate([[0.0], np.cumsum(0.5 * (left[1:] + left[:-1]) * (x[1] - x[0]))])
        since = np.maximum(x - wait_s, 0.0)
        rest = np.interp(since, x, area) - np.interp(since - rest_s, x, area)
        done = start * done + rest / fall_s
    return np.where(x < wait_s, x / fall_s, done)
