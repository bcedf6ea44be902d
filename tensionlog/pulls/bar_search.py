"""A bar's swing, and where in a hold a fall may lie: every moment on a coarse copy."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALL_S, USUAL_CONVERTER, Trace

Floats = NDArray[np.float64]

FREQUENCIES_HZ = tuple(0.45 * 1.07**k for k in range(17))
"""Where a bar is looked for: 0.5–1.2 Hz with a margin."""

DAMPINGS = (0.08, 0.18)
"""Damping ratios it is looked for with; the fit finds its own."""

COARSE_S = 0.025
"""Mean over this time for the search: a sixteenth of the quickest swing."""

PUSH_SHARE = 0.005
"""What stands so much of the level above the fit is a hand's doing."""

PUSH_FLANK_S = 0.12
"""How far a push reaches beyond where it stands out."""

MOST_STARTS = 3
"""Moments that are refined where the best of the search does not fit."""

LEAD = 2
"""Bins by which a curve begins before the middle of its fall."""

U_SLOPE = 0.002
"""A bar that sinks as the string gives changes its force by this share in a second."""


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
class BarState:
    """Where a fit stands: swing, moment and duration of the fall, size of swing and drop."""

    omega: float
    decay: float
    begin_s: float
    fall_s: float
    swing: tuple[float, float, float] | None = None
    chi2: float = np.inf


def still(trace: Trace, bar: Bar, level: float) -> Trace:
    """Leave out what stands above a fit that hugs the reading from below."""
    grid = Coarse.of(trace, level)
    threshold = max(4.0 * trace.noise, PUSH_SHARE * level)
    whole = grid.weight
    for _ in range(6):
        state = searched(grid, trace, bar, None)[0]
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


def searched(
    grid: "Coarse", trace: Trace, bar: Bar, release_at: float | None
) -> list[BarState]:
    """Every swing worth trying, and for each of them every moment at once; best first."""
    delay = _delay_s(trace)
    allowed = (grid.x > 3.0 * COARSE_S) & (grid.x < grid.x[-1] - 5.0 * COARSE_S)
    if release_at is not None:
        allowed = np.abs(grid.x + grid.begin_s - delay - release_at) < 2.0 * COARSE_S
    stiff = trace.noise / (U_SLOPE * abs(trace.y[0]))
    swings = bar.nearby()
    gain, rest2 = grid.gains(swings, delay, stiff=stiff)
    chi2 = rest2[:, None] - np.where(allowed, gain, 0.0)
    states: list[BarState] = []
    for _ in range(MOST_STARTS):
        i, k = np.unravel_index(int(np.argmin(chi2)), chi2.shape)
        begin_s = float(grid.begin_s + grid.x[k] - delay)
        states.append(
            BarState(
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


def _left_at(lags: Floats, omega: Floats, decay: Floats, delay_s: float) -> Floats:
    """What is left of a fall in bins, by time since half of it showed: (swings, n)."""
    edge = np.clip(0.5 + lags / (2.0 * delay_s + COARSE_S), 0.0, 1.0)
    moving = np.exp((1j * omega - decay) * np.maximum(lags, 0.0))
    result: Floats = edge * (moving.real + decay / omega * moving.imag)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Coarse:
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
    def of(trace: Trace, level: float) -> "Coarse":
        """Bins of `COARSE_S`; what is left out of the trace leaves bins empty."""
        bins = ((trace.t - trace.t[0]) / COARSE_S).astype(np.int64)
        count = np.bincount(bins)
        total = np.bincount(bins, weights=trace.y - level)
        return Coarse(
            begin_s=float(trace.t[0]),
            x=np.asarray(COARSE_S * (np.arange(len(count)) + 0.5)),
            y=total / np.maximum(count, 1),
            weight=np.sqrt(count.astype(np.float64)),
        )

    def gains(
        self, swings: Sequence[Bar], delay_s: float, *, stiff: float
    ) -> tuple[Floats, Floats]:
        """What a fall at each bin explains, and what there is to explain.

        Every moment is the same curve moved along, so that all projections are
        correlations with it.

        Returns:
            Shapes (swings, n) and (swings,).
        """
        omega = np.array([[bar.omega] for bar in swings])
        decay = np.array([[bar.decay] for bar in swings])
        lags = COARSE_S * np.arange(-LEAD, len(self.y) - LEAD + 0.0)
        left = _left_at(lags, omega, decay, delay_s)
        whole = np.zeros((len(swings), len(self.x) + 1, 4))
        whole[:, :-1] = self._basis(omega, decay) * self.weight[:, None]
        whole[:, -1, 1] = stiff
        q = np.linalg.qr(whole)[0][:, :-1]
        seen = self.y * self.weight
        rest = seen - (q @ (seen @ q)[..., None])[..., 0]
        rows = np.concatenate(
            [self.weight * rest[:, None], self.weight * q.transpose(0, 2, 1)], axis=1
        )
        moved = _moved(rows, left[:, None])
        weights = np.broadcast_to(self.weight**2, left.shape)
        norm = _moved(weights, left**2) - (moved[:, 1:] ** 2).sum(axis=1)
        down = np.maximum(-moved[:, 0], 0.0)
        return down**2 / np.maximum(norm, 1e-3), (rest**2).sum(axis=1)

    def residuals(self, state: BarState, trace: Trace) -> Floats:
        """What a fit with this swing and moment leaves of each bin, shape (n,)."""
        delay_s = _delay_s(trace)
        lags = self.x + self.begin_s - delay_s - state.begin_s
        omega, decay = np.array([[state.omega]]), np.array([[state.decay]])
        left = _left_at(lags, omega, decay, delay_s)[0]
        design = np.column_stack([self._basis(omega, decay)[0][:, [0, 2, 3]], -left])
        solution, *_ = np.linalg.lstsq(
            design * self.weight[:, None], self.y * self.weight, rcond=None
        )
        return np.asarray(self.y - design @ solution)

    def _basis(self, omega: Floats, decay: Floats) -> Floats:
        """Level, slope and swing, shape (swings, n, 4)."""
        moving = np.exp((1j * omega - decay) * self.x)
        flat = np.broadcast_to([np.ones_like(self.x), self.x], (len(moving), 2, len(self.x)))
        return np.stack([flat[:, 0], flat[:, 1], moving.real, moving.imag], axis=2)


def _moved(rows: Floats, left: Floats) -> Floats:
    """Product of each row with the curve begun at each of its entries, shape of `rows`."""
    n = rows.shape[-1]
    length = 2 * n
    spectrum = np.fft.rfft(rows, length) * np.conj(np.fft.rfft(left, length))
    product = np.fft.irfft(spectrum, length)
    result: Floats = product[..., (np.arange(n) - LEAD) % length]
    return result
