"""A bar's swing, and where in a hold a fall may lie: every moment on a coarse copy."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import FALL_S, USUAL_CONVERTER, Trace

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

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
    curves = Curves.of(grid, bar, _delay_s(trace))
    for _ in range(6):
        state = _best(grid, trace, curves, None, most=1)[0]
        rest = grid.residuals(state, trace)
        up = (rest > threshold) & (whole > 0.0)
        if not up.any():
            break
        # A push pulls a plain fit up: what lies above it counts little, round by round.
        weight = np.where(rest > 0.5 * threshold, 0.3, 1.0) * whole
        if np.array_equal(weight, grid.weight):
            break
        grid = replace(grid, weight=weight)
    at = grid.begin_s + grid.x[up]
    if len(at) < 3 or up.mean() > 0.7:
        return trace
    beside = np.abs(trace.t[:, None] - at) < PUSH_FLANK_S
    off = np.asarray(beside.any(axis=1), dtype=np.bool_)
    return trace.kept(~off) if off.mean() < 0.8 else trace


def searched(
    grid: "Coarse", trace: Trace, bar: Bar, release_at: float | None
) -> list[BarState]:
    """Every swing worth trying, and for each of them every moment at once; best first."""
    curves = Curves.of(grid, bar, _delay_s(trace))
    return _best(grid, trace, curves, release_at, most=MOST_STARTS)


def _best(
    grid: "Coarse", trace: Trace, curves: "Curves", release_at: float | None, *, most: int
) -> list[BarState]:
    """The `most` best moments, each with its best swing."""
    delay = _delay_s(trace)
    allowed = (grid.x > 3.0 * COARSE_S) & (grid.x < grid.x[-1] - 5.0 * COARSE_S)
    if release_at is not None:
        allowed = np.abs(grid.x + grid.begin_s - delay - release_at) < 2.0 * COARSE_S
    stiff = trace.noise / (U_SLOPE * abs(trace.y[0]))
    swings = curves.swings
    gain, rest2 = grid.gains(curves, stiff=stiff)
    chi2 = rest2[:, None] - np.where(allowed, gain, 0.0)
    states: list[BarState] = []
    for _ in range(most):
        # Moments in one gap explain alike: the last of them, whatever the last digits say.
        alike = np.round(chi2[:, ::-1] / trace.noise**2, 6)
        i, before_end = divmod(int(np.argmin(alike)), chi2.shape[1])
        k = chi2.shape[1] - 1 - before_end
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

    def gains(self, curves: "Curves", *, stiff: float) -> tuple[Floats, Floats]:
        """What a fall at each bin explains, and what there is to explain.

        Every moment is the same curve moved along, so that all projections are
        correlations with it.

        Returns:
            Shapes (swings, n) and (swings,).
        """
        basis, heavy = curves.basis, self.weight**2
        weighed = basis * heavy
        normal = weighed @ basis.transpose(0, 2, 1)
        normal[:, 1, 1] += stiff**2
        solution = np.linalg.solve(normal, (weighed @ self.y)[..., None])
        rest = self.y - (solution.transpose(0, 2, 1) @ basis)[:, 0]
        found, norm, moved = curves.moved(heavy, heavy * rest, weighed[:, 2:])
        inside = np.linalg.solve(np.linalg.cholesky(normal), moved)
        norm = norm - (inside**2).sum(axis=1)
        down = np.maximum(-found, 0.0)
        return down**2 / np.maximum(norm, 1e-3), (heavy * rest**2).sum(axis=1)

    def residuals(self, state: BarState, trace: Trace) -> Floats:
        """What a fit with this swing and moment leaves of each bin, shape (n,)."""
        delay_s = _delay_s(trace)
        lags = self.x + self.begin_s - delay_s - state.begin_s
        omega, decay = np.array([[state.omega]]), np.array([[state.decay]])
        left = _left_at(lags, omega, decay, delay_s)[0]
        basis = _basis(self.x, omega, decay)[0]
        design = np.stack([basis[0], basis[2], basis[3], -left])
        weighed = (design * self.weight).T
        solution = np.linalg.lstsq(weighed, self.y * self.weight, rcond=None)[0]
        return np.asarray(self.y - solution @ design)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """What all searches of one hold have in common: swings, and falls begun in each.

    Attributes:
        swings: Bars that are tried.
        basis: Level, slope and swing at each bin, shape (swings, 4, n).
        length: Of the transforms.
        ramp: Conjugate transform of what a fall leaves, shape (swings, 1, m).
        square: The same of its square.
    """

    swings: Sequence[Bar]
    basis: Floats
    length: int
    ramp: Complexes
    square: Complexes

    @staticmethod
    def of(grid: Coarse, bar: Bar, delay_s: float) -> "Curves":
        """Curves for every bar near this one."""
        swings = bar.nearby()
        omega = np.array([[near.omega] for near in swings])
        decay = np.array([[near.decay] for near in swings])
        n = len(grid.x)
        left = _left_at(COARSE_S * np.arange(-LEAD, n - LEAD + 0.0), omega, decay, delay_s)
        length = _quick_length(2 * n)
        return Curves(
            swings=swings,
            basis=_basis(grid.x, omega, decay),
            length=length,
            ramp=np.conj(np.fft.rfft(left, length))[:, None],
            square=np.conj(np.fft.rfft(left**2, length))[:, None],
        )

    def moved(
        self, heavy: Floats, rest: Floats, swung: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Products with a fall begun in each bin.

        Args:
            heavy: Weights, shape (n,).
            rest: Weighted residuals, shape (swings, n).
            swung: Weighted cosine and sine, shape (swings, 2, n).

        Returns:
            Residuals times fall, fall times fall, both (swings, n); basis times fall,
            shape (swings, 4, n).
        """
        flat = np.fft.rfft(heavy * self.basis[0, :2], self.length)
        own = np.fft.rfft(np.concatenate([rest[:, None], swung], axis=1), self.length)
        both = np.broadcast_to(flat, (len(own), *flat.shape))
        rows = np.concatenate([own[:, :1], both, own[:, 1:]], axis=1) * self.ramp
        rows = np.concatenate([rows, flat[0] * self.square], axis=1)
        product = np.fft.irfft(rows, self.length)
        n = len(heavy)
        product = np.concatenate([product[..., -LEAD:], product[..., : n - LEAD]], axis=-1)
        return product[:, 0], product[:, 5], product[:, 1:5]


def _basis(x: Floats, omega: Floats, decay: Floats) -> Floats:
    """Level, slope and swing, shape (swings, 4, n)."""
    moving = np.exp((1j * omega - decay) * x)
    basis = np.empty((len(moving), 4, len(x)))
    basis[:, 0], basis[:, 1] = 1.0, x
    basis[:, 2], basis[:, 3] = moving.real, moving.imag
    return basis


def _quick_length(least: int) -> int:
    """The next length, of four bits and zeros, that a Fourier transform takes quickly."""
    step = 1 << max(0, least.bit_length() - 4)
    return -(-least // step) * step
