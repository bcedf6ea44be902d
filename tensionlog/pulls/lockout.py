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

from tensionlog.pulls.edge import SETTLE_PERIODS, Edge, locate_edge
from tensionlog.pulls.hold import SEEN_RATIO, Hold, Law
from tensionlog.pulls.law_fit import (
    GUARD_S,
    FittedLaw,
    Span,
    fit_law,
    law_prior,
    span_of,
    trip_time,
)
from tensionlog.pulls.manners import Manners
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

UNKNOWN_SHARE = 0.05
"""A step that is not known better than to this share of the level is not measured."""


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
    trip = trip_time(shape) if manners.risen_t is None else manners.risen_t
    span = span_of(shape, trip, walk, manners.hands)
    if span is None:
        return None
    span, scan = scanned(span, law)
    near = (None if scan is None else scan.near) if release_at is None else release_at - trip
    if near is not None:
        edge = _edge(span, law, near)
        stepped = fit_law(span, law, edge)
        told = (
            stepped.drop > SEEN_RATIO * stepped.u_drop
            and _is_quick(span, stepped, edge)
            and bool(span.clear_of_hands(np.array(edge.begin_s), np.array(stepped.drop)))
        )
        if told or release_at is not None:
            return _seen(stepped, edge, trip, shape)
    return _unseen(span, fit_law(span, law, None), scan, trip, shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
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


def scanned(span: Span, law: Law) -> tuple[Span, Scan | None]:
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


def _scan(span: Span, law: Law) -> Scan | None:
    """Try every moment at once.

    The projection of all step functions on what the slow law leaves of the reading
    comes from two running sums.
    """
    t, y = span.t[span.keep], span.y[span.keep]
    wide = max(2, round(GUARD_S / span.period / 2))
    if len(t) < 2 * wide + 4:
        return None
    means, sds = law_prior(law, level=span.level, others=len(span.gave))
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
    evidence = np.where(span.clear_of_hands(t[usable], drop), evidence, 0.0)
    weight = u * np.exp(evidence - evidence.max())
    weight /= weight.sum()
    mean = float(weight @ drop)
    best = int(np.argmax(np.where(drop > 0.0, evidence, -np.inf)))
    return Scan(
        near=float(t[usable][best]),
        drop=mean,
        u_drop=float(np.sqrt(weight @ (u**2 + drop**2) - mean**2)),
        misfit2=float(residual @ residual) / span.noise**2 - 2.0 * float(evidence[best]),
    )


def _edge(span: Span, law: Law, near: float) -> Edge:
    """Sharpen the moment of the step against the law fitted around it."""
    rough = Edge(begin_s=near - 2.0 * span.period, width_s=4.0 * span.period)
    fitted = fit_law(span, law, rough, rounds=1)
    return locate_edge(
        span.t[span.keep],
        (span.y - fitted.at(span.t, stepped=False))[span.keep],
        near_s=near,
        period=span.period,
        depth=max(fitted.drop, 1e-12),
        converter=law.converter,
    )


def _is_quick(span: Span, fitted: FittedLaw, edge: Edge) -> bool:
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


def _at_three(fitted: FittedLaw, trip: float, shape: Shape) -> float:
    """The law without the step, three seconds after the top."""
    t = 3.0 + float(shape.t[shape.top]) - trip
    return float(fitted.at(np.array([t]), stepped=False)[0])


def _share(fitted: FittedLaw) -> float:
    """Loss per decade as a share of the level at the trip."""
    return float(-fitted.result.coefficients[1] / fitted.result.coefficients[0])


def _seen(fitted: FittedLaw, edge: Edge, trip: float, shape: Shape) -> Hold:
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


def _unseen(span: Span, flat: FittedLaw, scan: Scan | None, trip: float, shape: Shape) -> Hold:
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
