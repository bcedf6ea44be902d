"""The law of a locked hold and its least squares.

    y(t) = a − b·lg(1 + (t − t₀)/τ) − drop·[t > release] − steps where a hand made it give

The origin t₀ is the trip; τ is solved for by Gauss–Newton from the job's, held by how
well the job knows it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.disturbed import runs_of
from tensionlog.pulls.edge import SETTLE_PERIODS, Edge
from tensionlog.pulls.hold import SHUT_BEFORE_S, Law
from tensionlog.pulls.least_squares import Bins, Fit, bins_of, fit, whitener
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

GUARD_S = 0.05
"""Least time after the beginning of the fall that is kept out of the levels."""

LEAST_SAMPLES = 6
"""Fewer samples than this between the top's settling and the clamp's push say nothing."""

CLEAR_S = 0.5
"""A release counts only where it stands clear of a pushing hand by this much."""

PLUCK_S = 0.2
"""A plucked string has rung off in this time, margins included."""

PUSH_OF_DROP = 0.3
"""A touch that moves the reading by less than this share of a drop did not make it."""

GIVES_SHARE = 0.03
"""A string that is pushed straight settles by a few per cent of the pull at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """The part of a hold that the law is fitted to.

    Attributes:
        t: Seconds since the trip, shape (n,).
        y: Readings, shape (n,).
        keep: Samples that follow the law, shape (n,).
        end: Seconds from the trip to the clamp being shut.
        noise: Standard deviation of a sample.
        walk: Random walk of the zero, per √s.
        period: Time between samples, seconds.
        level: Rough level of the hold.
        hands: Middles of the times that a hand was in it, seconds since the trip.
        pushes: How far each of them moved the reading.
        gave: Those of them at which the string gave way for good, as far as known.
    """

    t: Floats
    y: Floats
    keep: NDArray[np.bool_]
    end: float
    noise: float
    walk: float
    period: float
    level: float
    hands: tuple[float, ...] = ()
    pushes: tuple[float, ...] = ()
    gave: tuple[float, ...] = ()

    def design(self, tau: float, slope: float, edge: Edge | None = None) -> Floats:
        """Columns of the law at every sample, shape (n, 4 + gave)."""
        return law_columns(self.t, tau, slope, edge, self.gave)

    def clear_of_hands(self, moments: Floats, drops: Floats) -> NDArray[np.bool_]:
        """Which drops stand clear of every hand that could have made them; any shape."""
        clear = np.ones_like(moments, dtype=np.bool_)
        for hand, push in zip(self.hands, self.pushes, strict=True):
            clear &= (np.abs(moments - hand) > CLEAR_S) | (push < PUSH_OF_DROP * drops)
        return clear


def trip_time(shape: Shape) -> float:
    """Device time of the ramp's end: the greatest reading close to the crest."""
    stop = int(np.searchsorted(shape.t, shape.t[shape.crest] + 0.2))
    stop = min(stop, shape.let_off)
    return float(shape.t[shape.crest + int(np.argmax(shape.y[shape.crest : stop + 1]))])


def span_of(shape: Shape, trip: float, walk: float, hands: NDArray[np.bool_]) -> Span | None:
    """The part of a pull that the law is fitted to, or None where it is too short."""
    # At slow rates the last of the converter's settling is worth less than the samples.
    periods = SETTLE_PERIODS + 0.5 if shape.period < 0.05 else 2.5
    settle = max(0.08, periods * shape.period)
    begin = int(np.searchsorted(shape.t, trip + settle))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - shape.push_s, "right"))
    keep = ~hands[begin:stop]
    if keep.sum() < LEAST_SAMPLES:
        return None
    t, y = shape.t[begin:stop] - trip, shape.y[begin:stop]
    runs = runs_of(hands[begin:stop])
    return Span(
        t=t,
        y=y,
        keep=keep,
        end=float(shape.t[shape.let_off]) - SHUT_BEFORE_S - trip,
        noise=max(shape.noise, 1e-9 * abs(shape.level), 1e-12),
        walk=walk,
        period=shape.period,
        level=shape.level,
        hands=tuple(float(t[first] + t[last]) / 2.0 for first, last in runs),
        pushes=tuple(_push(t, y, first, last) for first, last in runs),
    )


def _push(t: Floats, y: Floats, first: int, last: int) -> float:
    """How far a hand moved the reading for a while; a pluck rings and leaves no step."""
    lasted = float(t[last] - t[first])
    return float(np.ptp(y[first : last + 1])) if lasted > PLUCK_S else 0.0


def law_columns(
    t: Floats, tau: float, slope: float, edge: Edge | None, gave: tuple[float, ...]
) -> Floats:
    """Columns: 1, lg(1 + t/τ), the step, the derivative by ln τ, and a step at each `gave`."""
    age = np.maximum(t, 0.0) / tau
    law = np.log10(1.0 + age)
    by_ln_tau = -slope * age / (1.0 + age) / np.log(10.0)
    step = np.zeros_like(t) if edge is None else -(t > edge.begin_s).astype(np.float64)
    others = [(t > moment).astype(np.float64) for moment in gave]
    return np.column_stack([np.ones_like(t), law, step, by_ln_tau, *others])


def bins_beside(span: Span, edge: Edge | None) -> Bins:
    """Bins of the hold, the fall and the converter's settling left out."""
    if edge is None:
        return bins_of(span.keep)
    begin = edge.begin_s - 0.5 * span.period
    until = edge.begin_s + max(GUARD_S, edge.width_s) + span.period
    return bins_of(span.keep & ((span.t <= begin) | (span.t > until)))


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLaw:
    """A law fitted to one hold, linear around the τ it was solved at.

    Attributes:
        result: Coefficients a, slope (negative), drop, δ ln τ.
        tau: The τ that the design was made with.
        slope: The slope that the τ column was scaled by.
        gave: Moments at which the string gave way to a hand.
    """

    result: Fit
    tau: float
    slope: float
    gave: tuple[float, ...]

    @property
    def drop(self) -> float:
        """The step, positive downward."""
        return float(self.result.coefficients[2])

    @property
    def u_drop(self) -> float:
        """One standard uncertainty of the step."""
        return self.result.u(2)

    @property
    def misfit(self) -> float:
        """Root of the reduced chi-square."""
        return float(np.sqrt(self.result.chi2 / self.result.degrees))

    def gradient(self, t: float, *, stepped: bool) -> Floats:
        """Derivatives of the reading at `t` by the coefficients, shape (4,)."""
        row: Floats = law_columns(np.array([t]), self.tau, self.slope, None, self.gave)[0]
        row[2] = -1.0 if stepped else 0.0
        return row

    def at(self, t: Floats, *, stepped: bool) -> Floats:
        """Reading at `t`, with or without the step; same shape as `t`."""
        design = law_columns(t, self.tau, self.slope, None, self.gave)
        design[:, 2] = -1.0 if stepped else 0.0
        return np.asarray(design @ self.result.coefficients)


def fit_law(span: Span, law: Law, edge: Edge | None, *, rounds: int = 3) -> FittedLaw:
    """Solve for a, slope, drop and ln τ; the last by Gauss–Newton from the job's τ."""
    bins = bins_beside(span, edge)
    y = bins.mean(span.y)
    white = whitener(bins.mean(span.t), bins.n, noise=span.noise, walk=span.walk)
    tau, slope = law.tau_s, law.slope(span.level)
    for _ in range(rounds):
        design = bins.mean(span.design(tau, slope, edge))
        prior = law_prior(
            law,
            level=span.level,
            moved=float(np.log(law.tau_s / tau)),
            stepped=edge is not None,
            others=len(span.gave),
        )
        result = fit(design, y, white, prior)
        used, used_slope = tau, slope
        step = float(np.clip(result.coefficients[3], -0.7, 0.7))
        tau = float(np.clip(tau * np.exp(step), 0.01, 5.0))
        slope = float(result.coefficients[1])
        if abs(step) < 0.03:
            break
    return FittedLaw(result=result, tau=used, slope=used_slope, gave=span.gave)


def law_prior(
    law: Law, *, level: float, moved: float = 0.0, stepped: bool = True, others: int = 0
) -> tuple[Floats, Floats]:
    """Means and deviations of a, slope, drop, δ ln τ and other steps; slope and τ are held."""
    means = np.array([0.0, law.slope(level), 0.0, moved])
    sds = np.array([np.inf, law.u_share * abs(level), 2.0 * abs(level), law.u_ln_tau])
    if not stepped:
        sds[2] = 1e-9
    return (
        np.concatenate([means, np.zeros(others)]),
        np.concatenate([sds, np.full(others, GIVES_SHARE * abs(level))]),
    )
