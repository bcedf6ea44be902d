"""A lockout hold: the string relaxes, and a clamp that opens steps it down.

    y(t) = a − b·lg(1 + (t − t₀)/τ) − drop·[t > release]

What one side of the joined span recovers after the step the other gives back, so no
superposition term stands here; it belongs to lengths that are fixed (hold tests). The
law's origin t₀ is the trip; τ is one number for a job, and each hold may pull it only
as far as it can tell. A fixed wrong τ would cost five to twenty times the bound.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.disturbed import runs_of
from tensionlog.pulls.edge import SETTLE_PERIODS, Edge, locate_edge
from tensionlog.pulls.least_squares import Bins, Fit, bins_of, fit, whitener
from tensionlog.pulls.manners import Manners
from tensionlog.pulls.shape import CLAMP_PUSH_S, Shape

Floats = NDArray[np.float64]

GUARD_S = 0.05
"""Least time after the beginning of the fall that is kept out of the levels."""

UNKNOWN_SHARE = 0.05
"""A step that is not known better than to this share of the level is not measured."""

LEAST_SAMPLES = 6
"""Fewer samples than this between the top's settling and the clamp's push say nothing."""

SHUT_BEFORE_S = 0.13
"""The clamp is shut about this long before the head lets go (common practice, no source)."""

CLEAR_S = 0.5
"""A release counts only where it stands clear of a pushing hand by this much."""

GIVES_SHARE = 0.03
"""A string that is pushed straight settles by a few per cent of the pull at most."""

SEEN_RATIO = 4.5
"""A step is told from zero at this many of its own uncertainties: the best of some
hundred moments is looked at, and the greatest of so many noise steps reaches 3.5."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """What is known of a job's relaxation before a hold is looked at.

    Attributes:
        tau_s: Origin of the law, seconds.
        u_ln_tau: Standard uncertainty of its logarithm for one hold.
        share: Loss per decade as a share of the level: nylon 2–6 %, polyester 3–9 %,
            gut 1.5–4 % (plausibility bands, from memory) until the job has shown its own.
        u_share: Standard uncertainty of it for one hold.
        converter: Averages that the converter makes, in conversions; None: not known yet.
    """

    tau_s: float = 0.2
    u_ln_tau: float = 0.6
    share: float = 0.045
    u_share: float = 0.03
    converter: tuple[float, ...] | None = None

    def slope(self, level: float) -> float:
        """Expected slope of the law per decade of time, negative."""
        return -self.share * level


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """What a hold says, whatever the head.

    Attributes:
        top: Settled reading just before the clamp opens (or is shut, if not seen).
        release: The reading at clamp release.
        u_release: One standard uncertainty of it.
        at_3s: The law three seconds after the top, or None.
        drop: The step, or None where it cannot be measured.
        u_drop: One standard uncertainty of it.
        seen: Whether it is told from zero.
        release_s: When the force begins to fall; None if not seen.
        converter: Averages that the converter makes, where the fall shows them.
        share: Loss per decade as a share of the level, or None.
        tau_s: The law's origin as fitted, or None.
        misfit: Root of the reduced chi-square; well above 1 something else went on.
    """

    top: float
    release: float
    u_release: float
    at_3s: float | None
    drop: float | None
    u_drop: float | None
    seen: bool
    release_s: float | None
    converter: tuple[float, ...] | None = None
    share: float | None = None
    tau_s: float | None = None
    misfit: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
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
    gave: tuple[float, ...] = ()

    def design(self, tau: float, slope: float, edge: Edge | None = None) -> Floats:
        """Columns of the law at every sample, shape (n, 4 + gave)."""
        return _design(self.t, tau, slope, edge, self.gave)

    def clear_of_hands(self, moment: float) -> bool:
        """Whether a release at this moment stands clear of every hand."""
        return all(abs(moment - hand) > CLEAR_S for hand in self.hands)


def read_lockout(
    shape: Shape,
    *,
    law: Law,
    walk: float,
    manners: Manners,
    release_at: float | None = None,
) -> Hold | None:
    """Fit the law and look for the step.

    Args:
        shape: The pull with its landmarks.
        law: What the job knows so far.
        walk: Random walk of the zero, units per √s.
        manners: Samples that a hand is in, and a second crank.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    trip = _trip_time(shape) if manners.risen_t is None else manners.risen_t
    span = _span(shape, trip, walk, manners.hands)
    if span is None:
        return None
    span, scan = _scanned(span, law)
    near = (None if scan is None else scan.near) if release_at is None else release_at - trip
    if near is not None:
        edge = _edge(span, law, near)
        stepped = _fit_law(span, law, edge)
        told = (
            stepped.drop > SEEN_RATIO * stepped.u_drop
            and _is_quick(span, stepped, edge)
            and span.clear_of_hands(edge.begin_s)
        )
        if told or release_at is not None:
            return _seen(stepped, edge, trip, shape)
    return _unseen(span, _fit_law(span, law, None), scan, trip, shape)


def _trip_time(shape: Shape) -> float:
    """Device time of the ramp's end: the greatest reading close to the crest."""
    stop = int(np.searchsorted(shape.t, shape.t[shape.crest] + 0.2))
    stop = min(stop, shape.let_off)
    return float(shape.t[shape.crest + int(np.argmax(shape.y[shape.crest : stop + 1]))])


def _span(shape: Shape, trip: float, walk: float, hands: NDArray[np.bool_]) -> _Span | None:
    # At slow rates the last of the converter's settling is worth less than the samples.
    periods = SETTLE_PERIODS + 0.5 if shape.period < 0.05 else 2.5
    settle = max(0.08, periods * shape.period)
    begin = int(np.searchsorted(shape.t, trip + settle))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - CLAMP_PUSH_S, "right"))
    keep = ~hands[begin:stop]
    if keep.sum() < LEAST_SAMPLES:
        return None
    t = shape.t[begin:stop] - trip
    return _Span(
        t=t,
        y=shape.y[begin:stop],
        keep=keep,
        end=float(shape.t[shape.let_off]) - SHUT_BEFORE_S - trip,
        noise=max(shape.noise, 1e-9 * abs(shape.level), 1e-12),
        walk=walk,
        period=shape.period,
        level=shape.level,
        hands=tuple(
            float(t[min(first, len(t) - 1)] + t[min(last, len(t) - 1)]) / 2.0
            for first, last in runs_of(hands[begin:stop])
        ),
    )


def _design(
    t: Floats, tau: float, slope: float, edge: Edge | None, gave: tuple[float, ...]
) -> Floats:
    """Columns: 1, lg(1 + t/τ), the step, the derivative by ln τ, and a step at each `gave`."""
    law = np.log10(1.0 + t / tau)
    by_ln_tau = -slope * (t / tau) / (1.0 + t / tau) / np.log(10.0)
    step = np.zeros_like(t) if edge is None else -(t > edge.begin_s).astype(np.float64)
    others = [(t > moment).astype(np.float64) for moment in gave]
    return np.column_stack([np.ones_like(t), law, step, by_ln_tau, *others])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scan:
    """Every moment tried for a downward step.

    Attributes:
        near: Most likely moment, seconds after the trip.
        drop: Step averaged over the moments by how likely each is.
        u_drop: Standard uncertainty of that, the unknown moment included.
        misfit2: What law and step leave, in squared deviations of the noise.
    """

    near: float
    drop: float
    u_drop: float
    misfit2: float


def _scanned(span: _Span, law: Law) -> tuple[_Span, _Scan | None]:
    """Scan for the step; where a hand made the string give way for good, say so.

    A string that is pushed straight may settle lower. Whether it did is asked of the
    trace: only steps that explain what would else be left are let in, since each costs
    certainty about the release.
    """
    plain = _scan(span, law)
    if not span.hands or plain is None:
        return span, plain
    giving = replace(span, gave=span.hands)
    other = _scan(giving, law)
    if other is not None and plain.misfit2 - other.misfit2 > 16.0 * len(span.hands):
        return giving, other
    return span, plain


def _scan(span: _Span, law: Law) -> _Scan | None:
    """Try every moment at once.

    The projection of all step functions on what the slow law leaves of the reading
    comes from two running sums.
    """
    t, y = span.t[span.keep], span.y[span.keep]
    wide = max(2, round(GUARD_S / span.period / 2))
    if len(t) < 2 * wide + 4:
        return None
    means, sds = _prior(law, level=span.level, others=len(span.gave))
    slow = np.delete(np.arange(4 + len(span.gave)), 2)
    held = np.isfinite(sds[slow])
    rows = np.diag(span.noise / sds[slow])[held]
    basis = span.design(law.tau_s, law.slope(span.level))[span.keep][:, slow]
    q, _ = np.linalg.qr(np.vstack([basis, rows]))
    target = np.concatenate([y, rows @ means[slow]])
    residual = (target - q @ (q.T @ target))[: len(t)]
    inside = np.cumsum(q[: len(t)][::-1], axis=0)[::-1]
    norm2 = np.maximum(np.arange(len(t), 0, -1) - (inside**2).sum(axis=1), 1e-6)
    usable = slice(wide, len(t) - wide)
    drop = (-np.cumsum(residual[::-1])[::-1] / norm2)[usable]
    u = span.noise / np.sqrt(norm2[usable])
    evidence = 0.5 * (drop / u) ** 2
    clear = np.array([span.clear_of_hands(moment) for moment in t[usable]])
    evidence = np.where(clear, evidence, 0.0)
    weight = u * np.exp(evidence - evidence.max())
    weight /= weight.sum()
    mean = float(weight @ drop)
    best = int(np.argmax(np.where(drop > 0.0, evidence, -np.inf)))
    return _Scan(
        near=float(t[usable][best]),
        drop=mean,
        u_drop=float(np.sqrt(weight @ (u**2 + drop**2) - mean**2)),
        misfit2=float(residual @ residual) / span.noise**2 - 2.0 * float(evidence[best]),
    )


def _edge(span: _Span, law: Law, near: float) -> Edge:
    """Sharpen the moment of the step against the law fitted around it."""
    rough = Edge(begin_s=near - 2.0 * span.period, width_s=4.0 * span.period)
    fitted = _fit_law(span, law, rough, rounds=1)
    return locate_edge(
        span.t[span.keep],
        (span.y - fitted.at(span.t, stepped=False))[span.keep],
        near_s=near,
        period=span.period,
        depth=max(fitted.drop, 1e-12),
        converter=law.converter,
    )


def _is_quick(span: _Span, fitted: "_FittedLaw", edge: Edge) -> bool:
    """Whether the fall is as quick as a clamp that opens.

    Nothing of it before it begins, nearly all of it once clamp and converter are done:
    a cross that is pushed straight gives way slowly.
    """
    fallen = fitted.at(span.t, stepped=False) - span.y
    done = edge.begin_s + 0.035 + (SETTLE_PERIODS + 0.5) * span.period
    before = span.keep & (span.t > edge.begin_s - 0.12) & (span.t < edge.begin_s - span.period)
    after = span.keep & (span.t > done) & (span.t < done + max(0.1, 3.0 * span.period))
    early = _share_fallen(fallen[before], fitted.drop, span.noise, least=0.0)
    late = _share_fallen(fallen[after], fitted.drop, span.noise, least=1.0)
    return early < 0.2 and late > 0.8


def _share_fallen(fallen: Floats, drop: float, noise: float, *, least: float) -> float:
    """Mean share of the drop in some samples, given the benefit of their noise."""
    if not len(fallen):
        return least
    doubt = 2.5 * noise / float(np.sqrt(len(fallen))) / drop
    share = float(fallen.mean()) / drop
    return share + doubt if least else share - doubt


def _bins(span: _Span, edge: Edge | None) -> Bins:
    """Bins of the hold, the fall and the converter's settling left out."""
    if edge is None:
        return bins_of(span.keep)
    begin = edge.begin_s - 0.5 * span.period
    until = edge.begin_s + max(GUARD_S, edge.width_s) + span.period
    return bins_of(span.keep & ((span.t <= begin) | (span.t > until)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _FittedLaw:
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
        row: Floats = _design(np.array([t]), self.tau, self.slope, None, self.gave)[0]
        row[2] = -1.0 if stepped else 0.0
        return row

    def at(self, t: Floats, *, stepped: bool) -> Floats:
        """Reading at `t`, with or without the step; same shape as `t`."""
        design = _design(t, self.tau, self.slope, None, self.gave)
        design[:, 2] = -1.0 if stepped else 0.0
        return np.asarray(design @ self.result.coefficients)


def _fit_law(span: _Span, law: Law, edge: Edge | None, *, rounds: int = 3) -> _FittedLaw:
    """Solve for a, slope, drop and ln τ; the last by Gauss–Newton from the job's τ."""
    bins = _bins(span, edge)
    y = bins.mean(span.y)
    white = whitener(bins.mean(span.t), bins.n, noise=span.noise, walk=span.walk)
    tau, slope = law.tau_s, law.slope(span.level)
    for _ in range(rounds):
        design = bins.mean(span.design(tau, slope, edge))
        prior = _prior(
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
    return _FittedLaw(result=result, tau=used, slope=used_slope, gave=span.gave)


def _prior(
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


def _at_three(fitted: _FittedLaw, trip: float, shape: Shape) -> float:
    """The law without the step, three seconds after the top."""
    t = 3.0 + float(shape.t[shape.top]) - trip
    return float(fitted.at(np.array([t]), stepped=False)[0])


def _share(fitted: _FittedLaw) -> float:
    """Loss per decade as a share of the level at the trip."""
    return float(-fitted.result.coefficients[1] / fitted.result.coefficients[0])


def _seen(fitted: _FittedLaw, edge: Edge, trip: float, shape: Shape) -> Hold:
    # The converter shows the slow law late by half of what it averages over.
    at = edge.begin_s + edge.late_s
    return Hold(
        top=float(fitted.at(np.array([at]), stepped=False)[0]),
        release=float(fitted.at(np.array([at]), stepped=True)[0]),
        u_release=fitted.result.u_of(fitted.gradient(at, stepped=True)),
        at_3s=_at_three(fitted, trip, shape),
        drop=fitted.drop,
        u_drop=fitted.u_drop,
        seen=True,
        release_s=edge.begin_s + trip,
        converter=edge.converter,
        share=_share(fitted),
        tau_s=fitted.tau,
        misfit=fitted.misfit,
    )


def _unseen(
    span: _Span, flat: _FittedLaw, scan: _Scan | None, trip: float, shape: Shape
) -> Hold:
    """No step is told from zero: the law is read where the clamp is shut."""
    reading = float(flat.at(np.array([span.end]), stepped=False)[0])
    # At slow rates the release may lie in the top's settling: then nothing is known.
    unfit = span.period > 0.05 and flat.misfit > 3.0
    known = scan is not None and scan.u_drop < UNKNOWN_SHARE * span.level and not unfit
    return Hold(
        top=reading,
        release=reading,
        u_release=flat.result.u_of(flat.gradient(span.end, stepped=False)),
        at_3s=_at_three(flat, trip, shape),
        drop=scan.drop if scan is not None and known else None,
        u_drop=scan.u_drop * max(1.0, flat.misfit) if scan is not None and known else None,
        seen=False,
        release_s=None,
        share=_share(flat),
        tau_s=flat.tau,
        misfit=flat.misfit,
    )
