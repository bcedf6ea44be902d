"""The settled part of a motor's hold, and where in it the reading falls."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace, look_up, trace_of
from tensionlog.pulls.motor import Motor
from tensionlog.pulls.quiet import disturbed
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

OVERSHOOT_S = 0.2
"""How long the last of an overshoot or a pre-stretch takes to come down."""

WORTH_A_LOOK = 2.5
"""A further moment is looked at where the filters find so many deviations."""


def settled_part(shape: Shape) -> tuple[int, int]:
    """Index range of the hold in which a release can lie, pre-stretch and overshoot out."""
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - shape.push_s, "right"))
    hold = shape.y[shape.top : stop]
    if len(hold) < 6:
        return shape.top, shape.top
    level = float(np.median(hold))
    reach = int(np.searchsorted(shape.t, shape.t[shape.top] + 0.3)) - shape.top
    high = hold > 1.012 * level + 4.0 * shape.noise
    if not high[: max(1, reach)].any():
        return int(np.searchsorted(shape.t, shape.t[shape.top] + OVERSHOOT_S)), stop
    first = int(np.argmax(high))
    low = np.flatnonzero(~high[first:])
    over = shape.top + first + (int(low[0]) if len(low) else 0)
    return int(np.searchsorted(shape.t, shape.t[over] + OVERSHOOT_S)), stop


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A settled hold, thinned, with what a hand did to it left out.

    Attributes:
        trace: What is left.
        top_t: The ramp's end.
        level: Its median.
    """

    trace: Trace
    top_t: float
    level: float


def hold_of(shape: Shape, motor: Motor) -> Held:
    """The settled part of a pull as it is fitted."""
    begin, stop = settled_part(shape)
    trace = trace_of(
        shape.t[begin:stop],
        shape.y[begin:stop],
        noise=shape.noise,
        period=shape.period,
        converter=motor.converter,
    )
    level = float(np.median(trace.y)) if len(trace.y) else shape.level
    trace = trace.kept(~disturbed(trace, tooth=motor.tooth * abs(level)))
    return Held(trace=trace, top_t=float(shape.t[shape.top]), level=level)


def candidates(hold: Held, motor: Motor) -> list[float]:
    """Moments at which the reading falls most, by two filters: made good, and lasting."""
    trace, period = hold.trace, hold.trace.period
    if len(trace.t) < 16:
        return []
    t = np.arange(trace.t[0], trace.t[-1], period)
    y = np.interp(t, trace.t, trace.y)
    tables = motor.tables(trace.boxes_s)
    dip, step = tables.dips[1, 0], tables.steps[1]
    tooth = motor.tooth * hold.level
    after = min(0.08 + 1.5 * motor.tau_s, 0.4)
    made_good = filtered(y, trace, [dip, tables.pulled], [np.inf, tooth], after)
    lasting = filtered(y, trace, [step], [np.inf], 0.14)
    apart = max(2, round(0.05 / period))
    chosen: list[int] = []
    for score in (made_good, made_good, lasting):
        at = int(np.argmax(score))
        if score[at] > (WORTH_A_LOOK if chosen else 0.0):
            if all(abs(at - other) > apart for other in chosen):
                chosen.append(at)
            score[max(0, at - apart) : at + apart] = 0.0
    return [float(t[at]) for at in chosen]


def filtered(
    y: Floats, trace: Trace, shapes: list[Floats], sds: list[float], after_s: float
) -> Floats:
    """Size over uncertainty of a fall at each sample of `y`; shape of `y`."""
    before = max(4, round(0.12 / trace.period))
    x: Floats = trace.period * np.arange(-before, round(after_s / trace.period) + 1.0)
    signs = [-1.0] + [1.0] * (len(shapes) - 1)
    columns = [s * look_up(table, x) for s, table in zip(signs, shapes, strict=True)]
    design = np.column_stack([*columns, np.ones_like(x), x])
    held = np.append(trace.noise / np.array(sds), [0.0, trace.noise / 3.0])
    inverse = np.linalg.inv(design.T @ design + np.diag(held**2))
    weights = inverse[0] @ design.T / np.sqrt(inverse[0, 0]) / trace.noise
    score = np.zeros_like(y)
    if len(y) >= len(x):
        inside = np.convolve(y - y.mean(), weights[::-1], "valid")
        score[before : before + len(inside)] = inside
    return score
