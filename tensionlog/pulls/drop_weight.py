"""A hold on a weight and a bar: a fall, then a damped swing back to the same force.

In the first tens of milliseconds the bar's inertia makes it a lockout; then the bar
swings about its balance at 0.5–1.2 Hz. The swing that the pull itself started goes on
underneath. Both are fitted together over the whole hold: every moment is tried on a
coarse copy, the best one refined on the samples.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.bar_fit import Swung, held_part, misfits_of, swing_of, too_short
from tensionlog.pulls.bar_search import Bar as Bar
from tensionlog.pulls.dip import (
    CLEARLY_BETTER,
    CONVERTERS,
    MIDDLE_CONVERTER,
    Trace,
    shrunk,
)
from tensionlog.pulls.hold import SEEN_RATIO, Hold
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this the first tens of milliseconds of a release fall between two samples."""

MOST_HOLDS = 8
"""Holds that a bar is learned from, spread over the job."""

MOST_FALLS = 6
"""Falls that the converter is learned from, the deepest of the job."""


def read_drop_weight(shape: Shape, *, bar: Bar, release_at: float | None = None) -> Hold | None:
    """Fit the swing and the fall.

    Args:
        shape: The pull with its landmarks.
        bar: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    trace = held_part(shape, bar)
    if trace is None:
        return None
    if 1.0 / shape.period < LOWEST_RATE_HZ or too_short(trace):
        return _level_only(trace)
    swung = swing_of(trace, bar, shape.level, release_at)
    seen = release_at is not None or swung.drop > SEEN_RATIO * swung.u_drop
    drop, u_drop = swung.drop, swung.u_drop
    if not seen:
        drop, u_drop = shrunk(drop, u_drop, gain=(drop / u_drop) ** 2)
    return Hold(
        top=swung.level,
        release=swung.level,
        u_release=swung.u_level,
        at_3s=swung.level,
        drop=drop,
        u_drop=u_drop,
        seen=seen,
        release_s=swung.begin_s if seen else None,
        misfit=float(np.sqrt(swung.misfit)),
    )


def learn_bar(shapes: Sequence[Shape]) -> Bar:
    """Find the swing, and the converter, that a job's holds have in common."""
    usable = [s for s in shapes if s.held_s > 1.2 and s.period < 1.0 / LOWEST_RATE_HZ]
    usable = usable[:: max(1, len(usable) // MOST_HOLDS)][:MOST_HOLDS]
    if len(usable) < 2:
        return Bar()
    bar = Bar()
    found = [(s, _fitted(s, bar)) for s in usable]
    known = [(s, f) for s, f in found if f is not None]
    if len(known) < 2:
        return bar
    omega = float(np.median([f.omega for _, f in known]))
    decay = float(np.median([f.decay for _, f in known]))
    u_ln = float(np.clip(_spread([np.log(f.omega) for _, f in known]), 0.02, 0.08))
    bar = replace(bar, omega=omega, decay=decay, u_ln=u_ln, u_ln_decay=0.15, learned=True)
    return _with_converter(bar, shapes)


def _with_converter(bar: Bar, shapes: Sequence[Shape]) -> Bar:
    """The bar with the averaging that explains the job's deepest falls best."""
    deep = sorted(shapes, key=lambda shape: -_steepest(shape))[:MOST_FALLS]
    near = replace(bar, u_ln=max(bar.u_ln, 0.03), converter=MIDDLE_CONVERTER)
    each = np.array([misfits_of(shape, near, CONVERTERS) for shape in deep])
    misfits = dict(zip(CONVERTERS, np.log(each).mean(axis=0).tolist(), strict=True))
    best = min(misfits, key=lambda converter: misfits[converter])
    if misfits[MIDDLE_CONVERTER] < misfits[best] + CLEARLY_BETTER:
        best = MIDDLE_CONVERTER
    return replace(bar, converter=best)


def _steepest(shape: Shape) -> float:
    """Greatest fall within the time a clamp takes to open, less what the swing does."""
    trace = held_part(shape, Bar())
    if trace is None or too_short(trace):
        return 0.0
    few = max(1, round(0.05 / trace.period))
    change = trace.y[few:] - trace.y[:-few]
    # A swing falls as fast just before and after; a release does not.
    beside = np.minimum(change[: -2 * few], change[2 * few :])
    return float((beside - change[few:-few]).max(initial=0.0))


def _spread(values: Sequence[float]) -> float:
    """Standard deviation as the median absolute deviation gives it."""
    return float(1.4826 * np.median(np.abs(np.asarray(values) - np.median(values))))


def _fitted(shape: Shape, bar: Bar) -> Swung | None:
    trace = held_part(shape, bar)
    if trace is None or too_short(trace):
        return None
    return swing_of(trace, bar, shape.level, None)


def _level_only(trace: Trace) -> Hold:
    level = float(np.median(trace.y))
    u = float(np.std(trace.y)) / np.sqrt(max(1.0, len(trace.y) / 20.0))
    return Hold(
        top=level,
        release=level,
        u_release=u,
        at_3s=level,
        drop=None,
        u_drop=None,
        seen=False,
        release_s=None,
    )
