"""A hold on a motor head: a dip that the motor makes good, over a saw-tooth.

The motor rests inside its dead band while the string relaxes, and pulls back to its
upper edge when the lower one is reached; a clamp that opens makes it do the same with
a larger fall. Before the fall the reading slopes down with the relaxation; after it the
recovery is fitted up to where the motor rests again, so the saw-tooth stays outside.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Dip, Recovery, Window, fit_dip
from tensionlog.pulls.edge import SETTLE_PERIODS
from tensionlog.pulls.lockout import CLAMP_PUSH_S, SEEN_RATIO, Hold
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this a dip of 0.2–1 s is gone within the converter's own settling."""

CONVERTERS = (1.0, 2.0, 3.0, 4.0)
"""Conversions that a converter may average over; a job shows which it is."""

MOST_DIPS = 8
"""Dips that a motor is learned from, the deepest of the job."""

BEFORE_S = 0.4
"""How much of the hold before the fall is looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """What is known of a motor before a hold is looked at.

    Attributes:
        tau_s: Time constant of the recovery behind the reaction time.
        u_ln_tau: Standard uncertainty of ln τ for one hold.
        reaction_s: Time before the recovery begins.
        converter: Conversions over which the converter averages.
    """

    tau_s: float = 0.16
    u_ln_tau: float = 0.8
    reaction_s: float = 0.0
    converter: float = SETTLE_PERIODS

    def recovery(self, period: float) -> Recovery:
        """The dip's family on a trace with this time between samples."""
        return Recovery(
            remainder=self._left,
            parameters=np.array([np.log(self.tau_s)]),
            sds=np.array([self.u_ln_tau]),
            converter_s=self.converter * period,
        )

    def _left(self, parameters: Floats, x: Floats) -> tuple[Floats, Floats]:
        elapsed = np.maximum(x - self.reaction_s, 0.0) / np.exp(parameters[0])
        left = np.exp(-elapsed)
        return left, (elapsed * left)[None, :]


def _lasting(motor: Motor, period: float) -> Recovery:
    """A fall inside the dead band: nothing is made good."""
    return Recovery(
        remainder=lambda _, x: (np.ones_like(x), np.empty((0, len(x)))),
        parameters=np.empty(0),
        sds=np.empty(0),
        converter_s=motor.converter * period,
    )


def read_constant_pull(
    shape: Shape, *, motor: Motor, release_at: float | None = None
) -> Hold | None:
    """Find the dip and its size.

    Args:
        shape: The pull with its landmarks.
        motor: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    begin, stop = settled_part(shape)
    if stop - begin < 6:
        return None
    t, y = shape.t[begin:stop], shape.y[begin:stop]
    if 1.0 / shape.period < LOWEST_RATE_HZ:
        return _without_release(y, drop=None)
    near = _deepest_fall(t, y, shape.period) if release_at is None else release_at
    if near is None:
        return _without_release(y, drop=None)
    dip = best_dip(shape, t, y, near=near, motor=motor)
    if dip is None or (dip.drop < SEEN_RATIO * dip.u_drop and release_at is None):
        return _without_release(y, drop=dip)
    return _released(t, y, dip)


def learn_motor(shapes: Sequence[Shape]) -> Motor:
    """Find what a job's deepest dips have in common: one motor made them all good.

    The converter's averaging and the motor's reaction time are taken from a short list,
    whichever leaves least of the dips unexplained; the time constant is their mean.
    """
    fallen = sorted(filter(None, map(_fallen, shapes)), key=lambda f: -f.depth)[:MOST_DIPS]
    fallen = [f for f in fallen if f.depth > 8.0 * f.shape.noise]
    if len(fallen) < 3:
        return Motor()
    best = min((_tried(fallen, Motor(converter=c)) for c in CONVERTERS), key=_unexplained)
    for reaction_s in (0.02, 0.04):
        tried = _tried(fallen, replace(best.motor, reaction_s=reaction_s))
        best = min(best, tried, key=_unexplained)
    return best.common_motor()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fallen:
    """A hold with a fall in it: where it is steepest, and how deep."""

    shape: Shape
    t: Floats
    y: Floats
    near: float
    depth: float


def _fallen(shape: Shape) -> _Fallen | None:
    begin, stop = settled_part(shape)
    t, y = shape.t[begin:stop], shape.y[begin:stop]
    near = _deepest_fall(t, y, shape.period) if stop - begin >= 6 else None
    if near is None:
        return None
    at = int(np.searchsorted(t, near))
    behind = float(np.median(y[max(0, at - 5) : at + 1]))
    ahead = float(y[at : at + round(0.03 / shape.period) + 6].min())
    return _Fallen(shape=shape, t=t, y=y, near=near, depth=behind - ahead)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """A motor held against a job's dips."""

    motor: Motor
    dips: tuple[Dip, ...]

    def common_motor(self) -> Motor:
        """The motor with the time constant that the dips agree on."""
        ln_tau = np.array([dip.parameters[0] for dip in self.dips])
        u = np.array([dip.u_parameters[0] for dip in self.dips])
        weight = 1.0 / (u**2 + 0.04**2)
        mean = float((weight * ln_tau).sum() / weight.sum())
        scatter = float(np.sqrt((weight * (ln_tau - mean) ** 2).sum() / weight.sum()))
        sd = float(np.clip(scatter, 0.03, 0.3))
        return replace(self.motor, tau_s=float(np.exp(mean)), u_ln_tau=sd)


def _tried(fallen: Sequence[_Fallen], motor: Motor) -> _Tried:
    dips = [
        dip
        for f in fallen
        if (dip := best_dip(f.shape, f.t, f.y, near=f.near, motor=motor)) is not None
        and len(dip.parameters)
    ]
    return _Tried(motor=motor, dips=tuple(dips))


def _unexplained(tried: _Tried) -> float:
    """Median reduced chi-square: one dip with a hand on it must not choose the motor."""
    if len(tried.dips) < 2:
        return np.inf
    return float(np.median([dip.chi2 / dip.degrees for dip in tried.dips]))


def settled_part(shape: Shape) -> tuple[int, int]:
    """Index range of the hold in which a release can lie, pre-stretch and overshoot out."""
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - CLAMP_PUSH_S, "right"))
    hold = shape.y[shape.top : stop]
    if len(hold) < 6:
        return shape.top, shape.top
    level = float(np.median(hold))
    high = np.flatnonzero(hold > 1.012 * level + 4.0 * shape.noise)
    early = high[high < 0.8 * len(hold)]
    begin = shape.top + (int(early[-1]) + 1 if len(early) else 0)
    return begin + max(2, round(0.03 / shape.period)), stop


def _deepest_fall(t: Floats, y: Floats, period: float) -> float | None:
    """Where the reading falls fastest, in the greatest fall within settling and 30 ms."""
    few = max(2, round(0.025 / period))
    across = round(SETTLE_PERIODS + 0.03 / period)
    if len(y) < 2 * few + across:
        return None
    means = np.convolve(y, np.ones(few) / few, "valid")
    fall = means[: -(few + across)] - means[few + across :]
    if not len(fall):
        return None
    window = int(np.argmax(fall)) + few - 1
    steepest = window + int(np.argmin(np.diff(y[window : window + across + 2])))
    return float(t[steepest])


def best_dip(
    shape: Shape, t: Floats, y: Floats, *, near: float, motor: Motor
) -> Dip | None:
    """The dip around `near` as one that is made good, or as one that is not."""
    made_good = _window(shape, t, y, near=near, recovers=True)
    stays = _window(shape, t, y, near=near, recovers=False)
    if made_good is None or stays is None:
        return None
    period = shape.period
    dip = fit_dip(made_good, motor.recovery(period), near_s=near, period=period)
    flat = fit_dip(stays, _lasting(motor, period), near_s=near, period=period)
    better = flat.chi2 / flat.degrees < dip.chi2 / dip.degrees
    return flat if better else dip


def _window(
    shape: Shape, t: Floats, y: Floats, *, near: float, recovers: bool
) -> Window | None:
    at = int(np.searchsorted(t, near))
    first = _after_last_kick(t, y, at, shape)
    last = _rest_again(t, y, at, shape) if recovers else _until(t, near + 0.25)
    if at - first < 3 or last - at < 5:
        return None
    part = slice(first, last)
    since = np.minimum(t[part] - near, 0.0)
    age = max(near - float(shape.t[shape.top]), 0.3)
    slope = -0.04 * shape.level / (np.log(10.0) * age)
    level = float(np.median(y[first:at]))
    tooth = max(2.0 * shape.noise, 0.5 * float(np.ptp(np.quantile(y[:at], [0.05, 0.95]))))
    means = np.array([level, slope, 0.5 * tooth])
    sds = np.array([np.inf, 0.8 * abs(slope) + 0.5, tooth])
    return Window(
        t=t[part],
        y=y[part],
        before=np.column_stack([np.ones(last - first), since]),
        prior=(means, sds),
        noise=max(shape.noise, 1e-9),
    )


def _until(t: Floats, moment: float) -> int:
    return int(np.searchsorted(t, moment))


def _after_last_kick(t: Floats, y: Floats, at: int, shape: Shape) -> int:
    """Index after the motor's last pull before the release: before it another tooth was on."""
    first = int(np.searchsorted(t, t[min(at, len(t) - 1)] - BEFORE_S))
    span = max(2, round(0.04 / shape.period))
    rises = y[first + span : at] - y[first : max(first, at - span)]
    kicks = np.flatnonzero(rises > max(5.0 * shape.noise, 0.08))
    if not len(kicks):
        return first
    after = first + int(kicks[-1]) + span
    return after if at - after >= max(4, round(0.05 / shape.period)) else max(first, at - 4)


def _rest_again(t: Floats, y: Floats, at: int, shape: Shape) -> int:
    """Index where the recovery has come within a tenth of the fall of where it began."""
    before = float(np.median(y[max(0, at - 6) : at + 1]))
    search = slice(at, _until(t, t[min(at, len(t) - 1)] + 1.6))
    lowest = at + int(np.argmin(y[search]))
    depth = before - float(y[lowest])
    back = np.flatnonzero(y[lowest : search.stop] > before - 0.08 * depth - shape.noise)
    return lowest + int(back[0]) + 1 if len(back) else search.stop


def _without_release(y: Floats, drop: Dip | None) -> Hold:
    level = float(np.median(y))
    u = 1.2533 * float(np.std(y)) / np.sqrt(max(1.0, len(y) / 8.0))
    return Hold(
        top=level,
        release=level,
        u_release=u,
        at_3s=level,
        drop=None if drop is None else drop.drop,
        u_drop=None if drop is None else drop.u_drop,
        seen=False,
        release_s=None,
    )


def _released(t: Floats, y: Floats, dip: Dip) -> Hold:
    """Levels before the fall and after the motor has made it good."""
    before = float(dip.before[0])
    behind = y[t < dip.begin_s]
    settled = y[t > dip.begin_s + 0.8]
    after = float(np.median(settled)) if len(settled) >= 4 else before
    spread = float(np.std(settled if len(settled) >= 4 else y))
    return Hold(
        top=float(np.median(behind)) if len(behind) >= 4 else before,
        release=after,
        u_release=spread / np.sqrt(max(1.0, len(settled) / 8.0)),
        at_3s=float(np.median(behind)) if len(behind) >= 4 else before,
        drop=dip.drop,
        u_drop=dip.u_drop,
        seen=True,
        release_s=dip.begin_s,
    )
