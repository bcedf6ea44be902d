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
from tensionlog.pulls.quiet import plucked
from tensionlog.pulls.shape import CLAMP_PUSH_S, Shape
from tensionlog.pulls.swing import fallen_variants, swing_columns

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this the first tens of milliseconds of a release fall between two samples."""

FREQUENCIES_HZ = tuple(0.45 * 1.07**k for k in range(17))
"""Where a bar is looked for: 0.5–1.2 Hz with a margin."""

DAMPINGS = (0.08, 0.18)
"""Damping ratios it is looked for with; the fit finds its own."""

LEAST_HELD_S = 0.4
"""A shorter hold shows too little of a swing to tell a fall from it."""

COARSE_S = 0.025
"""Mean over this time for the search: a sixteenth of the quickest swing."""

MOST_HOLDS = 8
"""Holds that a bar is learned from, spread over the job."""

MOST_FALLS = 6
"""Falls that the converter is learned from, the deepest of the job."""

PUSH_SHARE = 0.005
"""What stands so much of the level above the fit is a hand's doing."""

GOOD_MISFIT = 1.25
"""Reduced chi-square below which no other moment need be tried."""

MOST_STARTS = 3
"""Moments that are refined where the best of the search does not fit."""

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
        steps = np.linspace(-reach, reach, 7)
        return [replace(self, omega=float(self.omega * np.exp(d))) for d in steps]


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
    if 1.0 / shape.period < LOWEST_RATE_HZ or _too_short(trace):
        return _level_only(trace)
    swung = _swung(trace, bar, shape.level, release_at)
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
    narrow = replace(bar, u_ln=max(bar.u_ln, 0.03))
    return min(
        (replace(bar, converter=c) for c in CONVERTERS),
        key=lambda b: sum(
            np.log(_misfit(s, replace(narrow, converter=b.converter))) for s in deep
        ),
    )


def _steepest(shape: Shape) -> float:
    """Greatest fall within the time a clamp takes to open, less what the swing does."""
    trace = _held(shape, Bar())
    if trace is None or _too_short(trace):
        return 0.0
    few = max(1, round(0.05 / trace.period))
    change = trace.y[few:] - trace.y[:-few]
    # A swing falls as fast just before and after; a release does not.
    beside = np.minimum(change[: -2 * few], change[2 * few :])
    return float((beside - change[few:-few]).max(initial=0.0))


def _spread(values: Sequence[float]) -> float:
    """Standard deviation as the median absolute deviation gives it."""
    return float(1.4826 * np.median(np.abs(np.asarray(values) - np.median(values))))


def _misfit(shape: Shape, bar: Bar) -> float:
    swung = _fitted(shape, bar)
    return np.inf if swung is None else swung.misfit


def _fitted(shape: Shape, bar: Bar) -> Swung | None:
    trace = _held(shape, bar)
    if trace is None or _too_short(trace):
        return None
    return _swung(trace, bar, shape.level, None)


def _too_short(trace: Trace) -> bool:
    return len(trace.t) < 24 or float(trace.t[-1] - trace.t[0]) < LEAST_HELD_S


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
    """Leave out what a hand did, search, refine what looks best."""
    trace = _still(trace, bar, level)
    starts = _searched(_Coarse.of(trace, level), trace, bar, release_at)
    state, result = _refined(trace, bar, starts[0], level, release_at is not None)
    for other in starts[1:]:
        if result.chi2 < GOOD_MISFIT * len(trace.t):
            break
        tried = _refined(trace, bar, other, level, release_at is not None)
        state, result = min((state, result), tried, key=lambda pair: pair[1].chi2)
    misfit = result.chi2 / max(1, len(trace.t) - 9)
    return Swung(
        level=float(result.coefficients[0]) + level,
        u_level=result.u(0),
        drop=float(result.coefficients[4]),
        u_drop=result.u(4) * max(1.0, float(np.sqrt(misfit))),
        begin_s=state.begin_s,
        omega=state.omega,
        decay=state.decay,
        misfit=misfit,
    )


def _still(trace: Trace, bar: Bar, level: float) -> Trace:
    """Leave out plucks, and what stands above a fit that hugs the reading from below."""
    trace = trace.kept(~plucked(trace))
    if not bar.learned:
        return trace
    grid = _Coarse.of(trace, level)
    threshold = max(4.0 * trace.noise, PUSH_SHARE * level)
    whole = grid.weight
    for _ in range(6):
        state = _searched(grid, trace, bar, None)[0]
        rest = grid.residuals(state, trace)
        up = (rest > threshold) & (whole > 0.0)
        if not up.any():
            break
        # A push pulls a plain fit up: what lies above it counts little, round by round.
        grid = replace(grid, weight=np.where(rest > 0.5 * threshold, 0.3, 1.0) * whole)
    at = grid.begin_s + grid.x[up]
    if len(at) < 3 or up.mean() > 0.7:
        return trace
    off = np.zeros(len(trace.t), dtype=bool)
    for moment in at:
        off |= np.abs(trace.t - moment) < PUSH_FLANK_S
    return trace.kept(~off) if off.mean() < 0.8 else trace


def _searched(
    grid: "_Coarse", trace: Trace, bar: Bar, release_at: float | None
) -> list[_State]:
    """Every swing worth trying, and for each of them every moment at once; best first."""
    delay = _delay_s(trace)
    allowed = (grid.x > 3.0 * COARSE_S) & (grid.x < grid.x[-1] - 5.0 * COARSE_S)
    if release_at is not None:
        allowed = np.abs(grid.x + grid.begin_s - delay - release_at) < 2.0 * COARSE_S
    stiff = trace.noise / (U_SLOPE * abs(trace.y[0]))
    swings = bar.nearby()
    found = [grid.gains(near, delay, stiff=stiff) for near in swings]
    chi2 = np.array([rest2 - np.where(allowed, gain, 0.0) for gain, rest2 in found])
    states: list[_State] = []
    for _ in range(MOST_STARTS):
        i, k = np.unravel_index(int(np.argmin(chi2)), chi2.shape)
        begin_s = float(grid.begin_s + grid.x[k] - delay)
        states.append(
            _State(
                omega=swings[i].omega,
                decay=swings[i].decay,
                begin_s=begin_s if release_at is None else release_at,
                fall_s=FALL_S,
                chi2=float(chi2[i, k]),
            )
        )
        chi2[:, max(0, k - 3) : k + 4] = np.inf
    return states


def _delay_s(trace: Trace) -> float:
    """From the beginning of a fall to where half of it shows."""
    return 0.5 * (sum(trace.boxes_s) + FALL_S)


def _left_at(lags: Floats, omega: float, decay: float, delay_s: float) -> Floats:
    """What is left of a fall in bins, by time since half of it showed."""
    edge = np.clip(0.5 + lags / (2.0 * delay_s + COARSE_S), 0.0, 1.0)
    cosine, sine = swing_columns(np.maximum(lags, 0.0), omega, decay).T
    result: Floats = edge * (cosine + decay / omega * sine)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coarse:
    """A hold in even bins, for the search.

    Attributes:
        begin_s: Time that `x` is counted from.
        x: Seconds of the bins' middles, shape (n,).
        y: Means, 0 in an empty bin, shape (n,).
        weight: Root of the samples in each, shape (n,).
    """

    begin_s: float
    x: Floats
    y: Floats
    weight: Floats

    @staticmethod
    def of(trace: Trace, level: float) -> "_Coarse":
        """Bins of `COARSE_S`; what is left out of the trace leaves bins empty."""
        bins = ((trace.t - trace.t[0]) / COARSE_S).astype(np.int64)
        count = np.bincount(bins)
        total = np.bincount(bins, weights=trace.y - level)
        return _Coarse(
            begin_s=float(trace.t[0]),
            x=COARSE_S * (np.arange(len(count)) + 0.5),
            y=total / np.maximum(count, 1),
            weight=np.sqrt(count.astype(np.float64)),
        )

    def gains(self, bar: Bar, delay_s: float, *, stiff: float) -> tuple[Floats, float]:
        """What a fall at each bin explains, and what there is to explain.

        Every moment is the same curve moved along, so that all projections are
        correlations with it. The curve begins two bins before the fall.
        """
        lags = COARSE_S * np.arange(-2.0, len(self.y))
        left = _left_at(lags, bar.omega, bar.decay, delay_s)
        basis = self._basis(bar.omega, bar.decay) * self.weight[:, None]
        q, _ = np.linalg.qr(np.vstack([basis, [0.0, stiff, 0.0, 0.0]]))
        q = q[:-1]
        seen = self.y * self.weight
        rest = seen - q @ (q.T @ seen)
        norm = _moved(self.weight**2, left**2)
        for column in q.T:
            norm = norm - _moved(self.weight * column, left) ** 2
        down = np.maximum(-_moved(self.weight * rest, left), 0.0)
        return down**2 / np.maximum(norm, 1e-3), float(rest @ rest)

    def residuals(self, state: _State, trace: Trace) -> Floats:
        """What a fit with this swing and moment leaves of each bin, shape (n,)."""
        delay_s = _delay_s(trace)
        lags = self.x + self.begin_s - delay_s - state.begin_s
        left = _left_at(lags, state.omega, state.decay, delay_s)
        design = np.column_stack([self._basis(state.omega, state.decay)[:, [0, 2, 3]], -left])
        solution, *_ = np.linalg.lstsq(
            design * self.weight[:, None], self.y * self.weight, rcond=None
        )
        return np.asarray(self.y - design @ solution)

    def _basis(self, omega: float, decay: float) -> Floats:
        swing = swing_columns(self.x, omega, decay)
        return np.column_stack([np.ones_like(self.x), self.x, swing])


def _moved(row: Floats, left: Floats) -> Floats:
    """Product of `row` with the curve begun at each of its entries, shape (n,)."""
    padded = np.concatenate([np.zeros(2), row, np.zeros(len(left) - 1)])
    result: Floats = np.correlate(padded, left, "valid")
    return result[: len(row)]


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
