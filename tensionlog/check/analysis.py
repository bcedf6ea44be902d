"""The morning check, from samples to verdict: the rooms of this package joined."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.check import problems
from tensionlog.check.budget import Errors, Span, errors_at_loads, span_of
from tensionlog.check.cleaning import Clean, Floats, clean, noise_sd, resolution
from tensionlog.check.reference import ReferenceSettings, settings_from_note
from tensionlog.check.result import CheckResult, Load, Point
from tensionlog.check.spread import directions, repeatability_pct, reversibility_pct
from tensionlog.check.verdict import Tolerance, judge, worst
from tensionlog.check.visits import Visit, find_visits, noise_of
from tensionlog.errors import CalibrationError
from tensionlog.model.recording import Calibration


def analyse_check(
    *,
    t_s: ArrayLike,
    counts: ArrayLike,
    loads: Sequence[Load],
    end_s: float,
    calibration: Calibration | None,
    reference: ReferenceSettings | Mapping[str, Any],
    tolerance: Tolerance | None = None,
    start_s: float | None = None,
    adc_bits: int | None = None,
    rated_n: float | None = None,
    complete: bool = True,
) -> CheckResult:
    """Read a morning check.

    What cannot be judged is answered, not raised: `problem` says in one line why there
    is no verdict, and whatever could be read is kept beside it.

    Args:
        t_s: Sample times on the device clock, seconds, rising, shape (n,).
        counts: Raw readings, shape (n,).
        loads: The `load` notes on the same time base. A load is on the cell from its
            note (the operator only begins to hang it) until the next one. What comes
            before the first is the empty cell.
        end_s: When the last load ends: the `check-end`, or an earlier `dial` or
            hold test.
        calibration: In force, or None: readings are then answered in counts.
        reference: Settings, or the body of the `check-start` note.
        tolerance: The bench's; by default 0.5 % of load and at least 0.3 N.
        start_s: When the check begins; by default with the first sample.
        adc_bits: Width of the converter, to know its saturated codes.
        rated_n: Greatest force the cell may carry.
        complete: False where `check-end` is missing: kept, but no verdict.
    """
    t = np.asarray(t_s, dtype=np.float64)
    x = np.asarray(counts, dtype=np.float64)
    if t.ndim != 1 or t.shape != x.shape:
        raise ValueError(f"t_s and counts must have one shape, not {t.shape} and {x.shape}")
    unit = "counts" if calibration is None else "N"
    try:
        settings = _settings(reference)
        named = problems.named_loads(loads)
        problems.refuse_overload(named, settings, rated_n)
        samples = clean(t_s=t, counts=x, adc_bits=adc_bits)
        problems.refuse_nothing_read(samples, named)
        begin = float(t[0]) if start_s is None else start_s
        result = _read(samples, named, begin, end_s, calibration, settings, tolerance)
    except CalibrationError as error:
        return CheckResult(unit=unit, problem=str(error), incomplete=not complete)
    return result if complete else problems.broken_off(result)


def _settings(reference: ReferenceSettings | Mapping[str, Any]) -> ReferenceSettings:
    if isinstance(reference, ReferenceSettings):
        return reference
    return settings_from_note(reference)


def _read(
    samples: Clean,
    loads: Sequence[Load],
    start_s: float,
    end_s: float,
    calibration: Calibration | None,
    settings: ReferenceSettings,
    tolerance: Tolerance | None,
) -> CheckResult:
    allowed = tolerance or Tolerance()
    forces = [reference_force_n(load, settings) for load in loads]
    scale = _scale(samples, loads, forces, end_s, calibration)
    in_newtons = samples._replace(reading=scale.force_n(samples.reading))
    step_n = resolution(samples.reading) * abs(scale.newtons_per_count(samples.reading[0]))
    noise_n = noise_of(in_newtons, step_n)
    visits = find_visits(
        samples=in_newtons,
        loads=loads,
        start_s=start_s,
        end_s=end_s,
        tolerance=allowed,
        force_of=forces,
        noise_n=noise_n,
    )
    problems.refuse_unread(visits)
    coarse_n = step_n if noise_n < step_n / 2 else 0.0
    result = _judged(visits, settings, allowed, coarse_n)
    result = replace(
        result,
        noise=noise_n,
        warnings=(*settings.assumed, *problems.losses(samples, visits, settings)),
    )
    if calibration is None:
        return _in_counts(result, 1 / scale.newtons_per_count(0.0))
    return replace(result, counts_per_n=_counts_per_n(result, samples, calibration))


def _scale(
    samples: Clean,
    loads: Sequence[Load],
    forces: Sequence[float],
    end_s: float,
    calibration: Calibration | None,
) -> Calibration:
    """The calibration in force, or a rough one from the check itself."""
    if calibration is None:
        return Calibration((0.0, 1 / _rough_counts_per_n(samples, loads, forces, end_s)))
    if not np.isfinite(calibration.coefficients).all() or len(calibration.coefficients) < 2:
        raise CalibrationError(
            f"the calibration {calibration.coefficients} has no slope. Calibrate the cell anew."
        )
    return calibration


def _counts_per_n(
    result: CheckResult, samples: Clean, calibration: Calibration
) -> float | None:
    """What the check itself says the scale is, near the middle of the readings."""
    per_count = calibration.newtons_per_count(float(np.median(samples.reading)))
    slope = 1 + (result.span_error_pct or 0.0) / 100
    return slope / per_count if per_count else None


def reference_force_n(load: Load, settings: ReferenceSettings) -> float:
    """True force of a load in newtons; 0 where it is empty."""
    if load.mass_kg is not None:
        return settings.force_n(load.mass_kg)
    return (load.force_n or 0.0) * (settings.factor if settings.kind == "scale" else 1.0)


def _rough_counts_per_n(
    samples: Clean, loads: Sequence[Load], forces: Sequence[float], end_s: float
) -> float:
    """A first, rough scale from the heaviest load and the empty cell before it."""
    heaviest = int(np.argmax(forces))
    ends = [*(load.t_s for load in loads[1:]), end_s]
    empty = samples.reading[samples.t_s < next(x.t_s for x in loads if not x.is_empty)]
    middle = (loads[heaviest].t_s + ends[heaviest]) / 2
    on = samples.reading[(samples.t_s > middle) & (samples.t_s < ends[heaviest])]
    if not (len(empty) and len(on)):
        raise CalibrationError(
            f"there are no samples of {loads[heaviest].name} or of the empty cell before it. "
            "Repeat the check."
        )
    change = float(np.median(on) - np.median(empty))
    if abs(change) <= 5 * noise_sd(samples.reading) or change == 0:
        raise CalibrationError(problems.no_change(loads[heaviest]))
    return abs(change) / forces[heaviest]


def _judged(
    visits: Sequence[Visit], settings: ReferenceSettings, allowed: Tolerance, coarse_n: float
) -> CheckResult:
    read = [visit for visit in visits if visit.level is not None]
    loaded = [visit for visit in read if not visit.load.is_empty]
    reference = np.array([reference_force_n(visit.load, settings) for visit in loaded])
    covariance = settings.covariance_n2(reference, [visit.load.mass_kg for visit in loaded])
    errors = errors_at_loads(
        visits=read,
        reference_n=reference,
        reference_covariance_n2=covariance,
        step_n=coarse_n,
    )
    span = span_of(errors)
    points = _points(visits, loaded, errors, settings)
    problem = problems.contradiction(points, errors, allowed)
    verdict = worst(
        judge(error_n=e, u_n=u, tolerance_n=allowed.at_n(f))
        for e, u, f in zip(errors.error_n, errors.u_n, reference, strict=True)
    )
    corrected = errors.added_n
    ways = [point.direction for point in points]
    zeros = [visit.level.level for visit in read if visit.load.is_empty and visit.level]
    return CheckResult(
        zero=errors.zero_n,
        u_zero=errors.u_zero_n,
        span_error_pct=span.error_pct,
        u_span_error_pct=span.u_pct,
        points=tuple(points),
        repeatability_pct=repeatability_pct(list(reference), ways, list(corrected)),
        reversibility_pct=reversibility_pct(list(reference), ways, list(corrected)),
        nonlinearity_pct=_nonlinearity_pct(span, reference),
        zero_return=zeros[-1] - zeros[0] if len(zeros) > 1 else None,
        creep_pct=_creep_pct(loaded, reference),
        verdict=None if problem else verdict,
        wander_n_per_root_s=errors.wander,
        budget_pct=span.by_cause_pct,
        masses_exact=settings.is_exact,
        problem=problem,
    )


def _points(
    visits: Sequence[Visit],
    loaded: Sequence[Visit],
    errors: Errors,
    settings: ReferenceSettings,
) -> list[Point]:
    all_forces = [reference_force_n(visit.load, settings) for visit in visits]
    way = dict(
        zip(
            (id(visit) for visit in visits),
            directions([visit.load for visit in visits], all_forces),
            strict=True,
        )
    )
    u = errors.u_n
    return [
        Point(
            load=visit.load,
            reference=float(errors.reference_n[i]),
            reading=float(errors.reference_n[i] + errors.error_n[i] + errors.zero_n),
            as_read=float(errors.reading_n[i]),
            error=float(errors.error_n[i]),
            u=float(u[i]),
            direction=way[id(visit)],
            start_s=visit.level.start_s,
            end_s=visit.level.end_s,
        )
        for i, visit in enumerate(loaded)
        if visit.level is not None
    ]


def _nonlinearity_pct(span: Span, reference_n: Floats) -> float | None:
    """Interpolation error: greatest distance from the line, per cent of the heaviest load."""
    if len(np.unique(reference_n.round(3))) < 2:
        return None
    return 100 * float(np.abs(span.off_line_n).max() / reference_n.max())


def _creep_pct(loaded: Sequence[Visit], reference_n: Floats) -> float | None:
    heaviest = reference_n.max()
    changes = [
        visit.level.late_minus_early
        for visit, force in zip(loaded, reference_n, strict=True)
        if visit.level is not None and force == heaviest
    ]
    return 100 * float(np.mean(changes) / heaviest) if changes else None


def _in_counts(result: CheckResult, scale: float) -> CheckResult:
    """The same check answered in counts: errors are not known without a calibration."""

    def times(x: float | None) -> float | None:
        return None if x is None else x * scale

    points = tuple(
        replace(
            p, reading=p.reading * scale, as_read=p.as_read * scale, error=None, u=p.u * scale
        )
        for p in result.points
    )
    slope = 1 + (result.span_error_pct or 0.0) / 100
    return replace(
        result,
        unit="counts",
        zero=times(result.zero),
        u_zero=times(result.u_zero),
        span_error_pct=None,
        u_span_error_pct=None,
        points=points,
        zero_return=times(result.zero_return),
        counts_per_n=slope * scale,
        noise=times(result.noise),
        wander_n_per_root_s=None,
        budget_pct={},
        verdict=None,
        problem=result.problem or problems.NO_CALIBRATION,
    )
