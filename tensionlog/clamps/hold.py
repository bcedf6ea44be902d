"""A hold test: what one clamp alone holds, and in what way it lets go of the rest.

The string is anchored at the cell, the clamp is between cell and head. The head pulls,
the clamp is shut, the head lets off; then the cell reads what the clamp alone holds.
Loss, creep, slips and flex are found by one joint least squares, because each of them
looks like a little of the others.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.clamps import law
from tensionlog.clamps.fit import Fit, fit_rows, mixed_in, slopes_of, without
from tensionlog.clamps.hold_result import HoldLimits, HoldResult, StickSlip, judged
from tensionlog.clamps.landmarks import Landmarks, find_landmarks
from tensionlog.clamps.law import Rows
from tensionlog.clamps.millimetres import Give, give_of
from tensionlog.clamps.rows import LOCKOUT, hold_prior, hold_rows, is_locked
from tensionlog.clamps.shut import likely, with_shut
from tensionlog.clamps.slips import fit_with_slips, slips_found
from tensionlog.clamps.trace import Floats, Readings, clean, running_median
from tensionlog.errors import ClampError

LIMITS = HoldLimits()
HELD_AFTER_S = 3.0

BAR, MOTOR_N, BEFORE = "drop-weight", 0.1, (law.FORCE, law.LOSS)
"""A motor's dead band is 0.15–0.6 N wide (bench experience), and its last stroke before
the hand-off may hide behind the push of the hand that shuts the clamp."""

LAW_DOUBT = 0.001
"""Share of a loss by which the law's first half second is in doubt."""

CREEP_DOUBT, SLOW_DOUBT, UNSHOWN_DOUBT = 0.00018, 2.5, 2.0
"""Creep by which the law's clock is in doubt, a share of a decade's relaxation per second;
so many times as much where the converter is slow, and where the head hides the law. Set
so that one independent set of 120 tests lies within its uncertainties."""

RELAXATION = (0.045, 0.025)
"""Loss per decade of the usual strings and its spread: nylon 2–6 %, polyester 3–9 %,
gut 1.5–4 % (from memory)."""


def measure_hold(
    *,
    t_s: ArrayLike,
    readings: ArrayLike,
    clamp: str,
    target_n: float,
    span_m: float | None,
    ea_n: float | None,
    hand_off_s: float | None,
    re_pull_s: float | None,
    end_s: float,
    u_ea_pct: float = 30.0,
    unit: str = "N",
    head: str | None = None,
    relaxation: tuple[float, float] = RELAXATION,
    saturated: ArrayLike | None = None,
    limits: HoldLimits = LIMITS,
) -> HoldResult:
    """Measure one hold test.

    Args:
        t_s: Sample times, seconds, rising, from the empty cell before the pull, shape (n,).
        readings: Forces in newtons, or counts (see `unit`), shape (n,).
        clamp: Which clamp is tested.
        target_n: Force that the head is set to, newtons.
        span_m: Length of string between cell and clamp, metres, or None.
        ea_n: Axial stiffness at tension, newtons per unit strain, or None.
        hand_off_s: When the hand-off was noted, on the clock of `t_s`; None without one.
        re_pull_s: When a second pull was noted, or None.
        end_s: When the test was ended.
        u_ea_pct: One standard uncertainty of the stiffness, per cent.
        unit: `N` or `counts`; of counts the target gives the scale.
        head: `lockout`, `constant-pull`, `drop-weight`, or None: the trace decides.
        relaxation: The string's loss per decade of time as a share, and its spread; of
            the control reel where it is known.
        saturated: Which samples are at the converter's end, bool, shape (n,), or None.
        limits: For the verdict.

    Returns:
        The numbers, or a result with a `problem` and no numbers.
    """
    try:
        time_s, force = _checked(t_s, readings, saturated, hand_off_s, end_s)
        scale = 1.0 if unit == "N" else _counts_per_newton(force, target_n)
        trace = clean(time_s, force / scale)
        marks = find_landmarks(
            readings=trace,
            hand_off_note_s=float(hand_off_s or 0.0),
            re_pull_note_s=re_pull_s,
            end_s=end_s,
            target_n=target_n,
        )
        fit = _fitted(trace, marks, head, relaxation)
    except ClampError as error:
        return HoldResult(clamp=clamp, unit=unit, target_n=target_n, problem=str(error))
    give = give_of(fit, span_m=span_m, ea_n=ea_n, u_ea_pct=u_ea_pct, unit=unit)
    return _result(fit, give, clamp, target_n, unit, scale, limits)


def _checked(
    t_s: ArrayLike,
    readings: ArrayLike,
    saturated: ArrayLike | None,
    hand_off_s: float | None,
    end_s: float,
) -> tuple[Floats, Floats]:
    """Times and readings up to the end, or what stands in the way."""
    times, values = np.asarray(t_s, dtype=np.float64), np.asarray(readings, dtype=np.float64)
    if times.shape != values.shape or times.ndim != 1:
        raise ValueError(f"times and readings differ: {times.shape!r}, {values.shape!r}")
    if hand_off_s is None:
        raise ClampError(
            "no hand-off was noted: the test never said when the clamp took over. "
            "Press the key as the head lets off, and test again."
        )
    kept = times <= end_s
    if kept.sum() < 20:
        raise ClampError(f"the test has only {kept.sum()} readings. Look at the cable.")
    full = 0 if saturated is None else int(np.asarray(saturated, dtype=bool)[kept].sum())
    if full:
        raise ClampError(
            f"{full} readings are at the converter's end: the force is beyond what it can "
            "read. Test at a lower force, or with a cell for more."
        )
    return times[kept], values[kept]


def _counts_per_newton(counts: Floats, target_n: float) -> float:
    """About how many counts a newton is, from the target; its sign is the wiring's."""
    empty = float(np.median(counts[: max(5, counts.size // 50)]))
    loaded = counts - empty
    far = float(np.percentile(loaded, 95) + np.percentile(loaded, 5))
    per_newton = far / max(target_n, 1e-9)
    if not abs(per_newton) > 0.0:
        raise ClampError("the readings never change. Look at the cell and its cable.")
    return per_newton


def _fitted(
    trace: Readings, marks: Landmarks, head: str | None, relaxation: tuple[float, float]
) -> Fit:
    if head is None and is_locked(trace, marks):
        head = LOCKOUT
    rows = hold_rows(trace, marks, head=head)
    prior = hold_prior(rows, trace, relaxation=relaxation)
    fit = fit_with_slips(rows=rows, prior=prior, readings=trace)
    if head == LOCKOUT:
        return fit_rows(_trusted(fit), prior)
    ways = with_shut(fit, trace, head, prior)
    fit = mixed_in(fit_rows(_trusted(ways[0]), prior), ways, [likely(way) for way in ways])
    return fit if head == BAR else _with_motor(fit)


def _with_motor(fit: Fit) -> Fit:
    """The fit with the doubt whether a motor drove once more before the hand-off."""
    covariance = fit.covariance.copy()
    covariance[np.ix_(BEFORE, BEFORE)] += MOTOR_N**2
    return replace(fit, covariance=covariance)


def _trusted(fit: Fit) -> Rows:
    """The rows without those that a knock or the shutting of the clamp pushed."""
    left = fit.rows.force - law.reading(fit.theta, fit.rows)
    # The zero's walk is no push: what it did over half a second is let pass.
    slow = running_median(left, 11)
    pushed = np.abs(left - slow) > 4.0 * np.sqrt(fit.rows.variance) + 0.02
    lawful = fit.rows.fixed > 0
    if not fit.rows.locked:
        # The one level before a head that does not lock has its own doubt already.
        lawful[np.flatnonzero(fit.rows.loaded > 0)[0]] = False
    return without(fit.rows, pushed & lawful)


def _held(fit: Fit) -> tuple[float, float]:
    """Force 3 s after the hand-off, and its standard uncertainty."""
    marks = fit.rows.marks
    at = replace(
        fit.rows,
        t_s=marks.hand_off_s + HELD_AFTER_S + np.array([0.0, 0.1]),
        loaded=np.ones(2),
        alone=np.ones(2),
        fixed=np.ones(2),
        marks=replace(marks, again=None),
    )

    def force(theta: Floats) -> Floats:
        above: Floats = law.reading(theta, at) - theta[law.ZERO]
        return above

    held, later = force(fit.theta)
    # When the let-off began is known to about a tenth of how long it took.
    u_time_s = 0.1 * (marks.alone_s - marks.hand_off_s)
    u_late = (later - held) / 0.1 * u_time_s
    u_held = fit.u_of(slopes_of(force, fit.theta)[0])
    return float(held), float(np.hypot(u_held, u_late))


def _u_loss(fit: Fit) -> float:
    """Uncertainty of the loss: of the fit, and of the law's first half second."""
    return float(np.hypot(fit.u(law.LOSS), LAW_DOUBT * fit.theta[law.LOSS]))


def _u_creep(fit: Fit) -> float:
    """Uncertainty of the creep: of the fit, and of the clock of the law."""
    times = (SLOW_DOUBT if fit.rows.blur_s else 1.0) * (
        1.0 if fit.rows.locked else UNSHOWN_DOUBT
    )
    return float(np.hypot(fit.u(law.CREEP), CREEP_DOUBT * times * fit.theta[law.RELAX]))


def _result(
    fit: Fit,
    give: Give,
    clamp: str,
    target_n: float,
    unit: str,
    scale: float,
    limits: HoldLimits,
) -> HoldResult:
    size = abs(scale)
    held, u_held = _held(fit)
    slips = _slips(fit, size)
    verdict: str | None = None
    reasons: tuple[str, ...] = ()
    if unit == "N":
        verdict, reasons = judged(
            give_mm=None if give.give is None else give.give.mm,
            creep_n_per_s=float(fit.theta[law.CREEP]),
            slips_n=tuple(slip.size for slip in slips),
            limits=limits,
        )
    result = HoldResult(
        clamp=clamp,
        unit=unit,
        target_n=target_n,
        zero=float(fit.theta[law.ZERO]) * scale,
        pulled=float(fit.theta[law.FORCE]) * size,
        held=held * size,
        u_held=u_held * size,
        loss=float(fit.theta[law.LOSS]) * size,
        u_loss=_u_loss(fit) * size,
        creep=float(fit.theta[law.CREEP]) * size,
        u_creep=_u_creep(fit) * size,
        slips=slips,
        relaxation=law.relaxation_share(fit.theta, fit.rows),
        u_relaxation=fit.u(law.RELAX) / max(float(fit.theta[law.FORCE]), 1e-9),
        hand_off_s=fit.rows.marks.hand_off_s,
        verdict=verdict,
        reasons=reasons,
    )
    return _with_lengths(result, give)


def _slips(fit: Fit, size: float) -> tuple[StickSlip, ...]:
    start_s = fit.rows.marks.hand_off_s
    return tuple(
        StickSlip(time_s=slip.at_s - start_s, size=slip.size * size, u=slip.u * size)
        for slip in slips_found(fit)
    )


def _with_lengths(result: HoldResult, give: Give) -> HoldResult:
    if give.give is None:
        return replace(result, why_no_mm=give.why_not)
    result = replace(result, give_mm=give.give.mm, u_give_mm=give.give.u)
    if give.flex is None or give.slip is None:
        return result
    return replace(
        result,
        flex_mm=give.flex.mm,
        u_flex_mm=give.flex.u,
        slip_mm=give.slip.mm,
        u_slip_mm=give.slip.u,
    )
