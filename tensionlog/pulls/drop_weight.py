"""A hold on a weight and a bar: a fall, then a damped swing back to the same force.

In the first tens of milliseconds the bar's inertia makes it a lockout; then the bar
swings about its balance at 0.5–1.2 Hz. The swing that the pull itself started goes on
underneath. Both are fitted together over the whole hold: every moment is tried on a
coarse copy, the best one refined on the samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import (
    CONVERTERS,
    FALL_S,
    FALLS_S,
    U_FALL_S,
    USUAL_CONVERTER,
    Trace,
    shrunk,
    trace_of,
)
from tensionlog.pulls.least_squares import Fit, fit
from tensionlog.pulls.lockout import SEEN_RATIO, Hold
from tensionlog.pulls.shape import CLAMP_PUSH_S, Shape
from tensionlog.pulls.swing import fallen_variants, swing_columns

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this the first tens of milliseconds of a release fall between two samples."""

FREQUENCIES_HZ = tuple(0.45 * 1.07**k for k in range(17))
"""Where a bar is looked for: 0.5–1.2 Hz with a margin."""

DAMPINGS = (0.08, 0.18)
"""Damping ratios it is looked for with; the fit finds its own."""

COARSE_S = 0.025
"""Mean over this time for the search: a sixteenth of the quickest swing."""

PUSHED_RATIO = 5.0
"""What lies so many deviations above the fit is a hand's doing."""

PUSH_FLANK_S = 0.12
"""How far a push reaches beyond where it stands out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What is known of a bar's swing before a hold is looked at.

    Attributes:
        omega: Angular frequency, rad/s.
        decay: Decay rate, 1/s.
        u_ln: Standard uncertainty of ln ω for one hold.
        u_ln_decay: Standard uncertainty of ln of the decay rate.
        converter: Averaging boxes of the converter, in conversions.
        learned: Whether a job has shown it.
    """

    omega: float = 5.0
    decay: float = 0.8
    u_ln: float = 0.3
    u_ln_decay: float = 0.5
    converter: tuple[float, ...] = USUAL_CONVERTER
    learned: bool = False

    def nearby(self) -> list["Bar"]:
        """Bars worth trying for one hold."""
        if not self.learned:
            return [
                replace(self, omega=2.0 * np.pi * f, decay=2.0 * np.pi * f * d)
                for f in FREQUENCIES_HZ
                for d in DAMPINGS
            ]
        reach = 2.0 * self.u_ln
        return [replace(self, omega=self.omega * np.exp(d)) for d in np.linspace(-reach, reach, 5)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """Where a fit stands: swing, moment and duration of the fall, size of swing and drop."""

    omega: float
    decay: float
    begin_s: float
    fall_s: float
    swing: tuple[float, float, float] | None = None
    chi2: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Swung:
    """A fitted hold.

    Attributes:
        level: Force that the bar balances.
        u_level: One standard uncertainty of it.
        drop: The fall, positive downward.
        u_drop: One standard uncertainty, moment and swing included.
        begin_s: When it begins.
        omega: Angular frequency as fitted.
        decay: Decay rate as fitted.
        misfit: Reduced chi-square.
    """

    level: float
    u_level: float
    drop: float
    u_drop: float
    begin_s: float
    omega: float
    decay: float
    misfit: float


def read_drop_weight(
    shape: Shape, *, bar: Bar, release_at: float | None = None
) -> Hold | None:
    """Fit the swing and the fall.

    Args:
        shape: The pull with its landmarks.
        bar: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    trace = _held(shape, bar)
    if trace is None:
        return None
    if 1.0 / shape.period < LOWEST_RATE_HZ or len(trace.t) < 24:
        return _level_only(trace)
    swung = _swung(trace, bar, shape.level, release_at)
    seen = release_at is not None or swung.drop > SEEN_RATIO * swung.u_drop
    drop, u_drop = swung.drop, swung.u_drop
    if not seen:
        drop, u_drop = shrunk(drop, u_drop)
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
    bar = replace(bar, omega=omega, decay=decay, u_ln=0.06, u_ln_decay=0.15, learned=True)
    deep = sorted(known, key=lambda p: -p[1].drop / p[1].u_drop)[:4]
    return min(
        (replace(bar, converter=c) for c in CONVERTERS),
        key=lambda b: float(np.mean([np.log(_misfit(s, b)) for s, _ in deep])),
    )


MOST_HOLDS = 8
"""Holds that a bar is learned from, spread over the job."""


def _misfit(shape: Shape, bar: Bar) -> float:
    swung = _fitted(shape, bar)
    return np.inf if swung is None else swung.misfit


def _fitted(shape: Shape, bar: Bar) -> Swung | None:
    trace = _held(shape, bar)
    if trace is None or len(trace.t) < 24:
        return None
    return _swung(trace, bar, shape.level, None)


def _held(shape: Shape, bar: Bar) -> Trace | None:
    settle_s = 0.05 + sum(bar.converter) * shape.period
    begin = int(np.searchsorted(shape.t, shape.t[shape.top] + settle_s))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - CLAMP_PUSH_S, "right"))
    if stop - begin < 8:
        return None
    return trace_of(
        shape.t[begin:stop],
        shape.y[begin:stop],
        noise=shape.noise,
        period=shape.period,
        converter=bar.converter,
    )


def _swung(trace: Trace, bar: Bar, level: float, release_at: float | None) -> Swung:
    """Search, leave out what a hand did, search again if it did, refine."""
    for _ in range(3):
        state = _searched(trace, bar, level, release_at)
        state, result = _refined(trace, bar, state, level, release_at is not None)
        pushed = _pushed(trace, result.residuals)
        if not pushed.any() or pushed.mean() > 0.6:
            break
        trace = trace.kept(~pushed)
    misfit = result.chi2 / max(1, len(trace.t) - 9)
    return Swung(
        level=float(result.coefficients[0]) + level,
        u_level=result.u(0),
        drop=float(result.coefficients[4]),
        u_drop=result.u(4),
        begin_s=state.begin_s,
        omega=state.omega,
        decay=state.decay,
        misfit=misfit,
    )


def _pushed(trace: Trace, residuals: Floats) -> NDArray[np.bool_]:
    """Samples around those that a hand has lifted, shape (n,)."""
    spread = max(trace.noise, 1.4826 * float(np.median(np.abs(residuals))))
    smooth = np.convolve(residuals, np.ones(3) / 3.0, "same")
    at = trace.t[smooth > PUSHED_RATIO / np.sqrt(3.0) * 1.3 * spread]
    result = np.zeros(len(trace.t), dtype=bool)
    if len(at) < 4:
        return result
    for moment in at:
        result |= np.abs(trace.t - moment) < PUSH_FLANK_S
    return result


def _searched(trace: Trace, bar: Bar, level: float, release_at: float | None) -> _State:
    """Every swing worth trying, and for each of them every moment at once."""
    fold = max(1, round(COARSE_S / trace.period))
    whole = len(trace.t) // fold * fold
    t = trace.t[:whole].reshape(-1, fold).mean(axis=1)
    y = trace.y[:whole].reshape(-1, fold).mean(axis=1) - level
    x = t - t[0]
    delay = 0.5 * (sum(trace.boxes_s) + FALL_S)
    begins = t[3:-5] - delay if release_at is None else np.array([release_at])
    elapsed = t[:, None] - begins - delay
    best = _State(omega=bar.omega, decay=bar.decay, begin_s=float(begins[0]), fall_s=FALL_S)
    stiff = trace.noise / np.sqrt(fold) / (U_SLOPE * level)
    edge = np.clip(0.5 + elapsed / (2.0 * delay), 0.0, 1.0)
    since = np.maximum(elapsed, 0.0)
    for near in bar.nearby():
        basis = np.column_stack([np.ones_like(x), x, swing_columns(x, near.omega, near.decay)])
        q, _ = np.linalg.qr(np.vstack([basis, [0.0, stiff, 0.0, 0.0]]))
        q = q[:-1]
        moving = np.exp((1j * near.omega - near.decay) * since)
        left = edge * (moving.real + near.decay / near.omega * moving.imag)
        rest = y - q @ (q.T @ y)
        norm = (left**2).sum(axis=0) - ((q.T @ left) ** 2).sum(axis=0)
        down = np.maximum(-(rest @ left), 0.0)
        gain = down**2 / np.maximum(norm, 1e-6)
        k = int(np.argmax(gain))
        chi2 = float(rest @ rest - gain[k])
        if chi2 < best.chi2:
            best = _State(
                omega=near.omega,
                decay=near.decay,
                begin_s=float(begins[k]),
                fall_s=FALL_S,
                chi2=chi2,
            )
    return best


U_SLOPE = 0.002
"""A bar that sinks as the string gives changes its force by this share in a second."""


def _refined(
    trace: Trace, bar: Bar, state: _State, level: float, fixed: bool
) -> tuple[_State, Fit]:
    """Gauss–Newton on the samples from a coarse start."""
    result = _linearised(trace, bar, state, level, fixed)
    for _ in range(6):
        c = result.coefficients
        reach = max(trace.period, 0.004)
        fall_s = float(np.clip(state.fall_s + c[6], FALLS_S[0], FALLS_S[-1]))
        moved = _State(
            omega=state.omega * float(np.exp(np.clip(c[7], -0.15, 0.15))),
            decay=state.decay * float(np.exp(np.clip(c[8], -0.4, 0.4))),
            begin_s=state.begin_s + float(np.clip(c[5], -reach, reach)),
            fall_s=fall_s,
            swing=(float(c[2]), float(c[3]), float(c[4])),
        )
        again = _linearised(trace, bar, moved, level, fixed)
        if again.chi2 > result.chi2 + 0.05 * result.degrees + 5.0:
            break
        settled = abs(again.chi2 - result.chi2) < 0.02
        state, result = moved, again
        if settled:
            break
    return state, result


def _linearised(trace: Trace, bar: Bar, state: _State, level: float, fixed: bool) -> Fit:
    """Fit level, slope, swing, drop, moment, duration, ln ω and ln α around one state."""
    x = trace.t - trace.t[0]
    swing = swing_columns(x, state.omega, state.decay)
    elapsed = trace.t - state.begin_s

    h = 0.25 * trace.period
    here, sooner, later, wider, quicker, damped = fallen_variants(
        elapsed,
        np.array(
            [
                [state.omega, state.decay, state.fall_s, 0.0],
                [state.omega, state.decay, state.fall_s, h],
                [state.omega, state.decay, state.fall_s, -h],
                [state.omega, state.decay, state.fall_s + 0.002, 0.0],
                [state.omega * 1.02, state.decay, state.fall_s, 0.0],
                [state.omega, state.decay * 1.05, state.fall_s, 0.0],
            ]
        ),
        trace.boxes_s,
    )
    design = np.column_stack([np.ones_like(x), x, swing, -here])
    y = trace.y - level
    white = np.full(len(x), 1.0 / trace.noise)
    sds = np.array([np.inf, U_SLOPE * level, 0.15 * level, 0.15 * level, 1e6])
    a, b, drop = state.swing or fit(design, y, white, (np.zeros(5), sds)).coefficients[2:]
    moving, turned = a * swing[:, 0] + b * swing[:, 1], b * swing[:, 0] - a * swing[:, 1]
    shapes = np.column_stack(
        [
            drop * (sooner - later) / (2.0 * h),
            -drop * (wider - here) / 0.002,
            state.omega * x * turned - drop * (quicker - here) / np.log(1.02),
            -state.decay * x * moving - drop * (damped - here) / np.log(1.05),
        ]
    )
    means = np.zeros(9)
    means[6] = FALL_S - state.fall_s
    means[7] = np.log(bar.omega / state.omega)
    means[8] = np.log(bar.decay / state.decay)
    u_moment = 1e-4 if fixed else 3.0 * trace.period
    sds = np.concatenate([sds, [u_moment, U_FALL_S, bar.u_ln, bar.u_ln_decay]])
    return fit(np.column_stack([design, shapes]), y, white, (means, sds))


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
