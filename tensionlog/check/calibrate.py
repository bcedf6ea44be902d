"""A full calibration: counts against force, and what a force read back with it is worth.

Five loads or more, three runs or more. Counts are fitted against force (the force is what
is known), by a line; by a quadratic only where an F-test earns it. The noun that recordings
carry goes the other way, counts to newtons, and is made from the fitted curve.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Any, Final, NamedTuple

import numpy as np

from tensionlog.check.result import UNKNOWN_BOW, CheckResult
from tensionlog.check.spread import repeatability_pct, reversibility_pct
from tensionlog.errors import CalibrationError
from tensionlog.model.recording import Calibration
from tensionlog.stats.fits import FTest, PolynomialFit, f_test, fit_line, fit_polynomial

FEWEST_LOADS: Final = 5
FEWEST_RUNS: Final = 3
EARNED_P: Final = 0.01
"""The quadratic is taken where as large an F comes by chance in one of a hundred lines."""


class Reading(NamedTuple):
    """One load of one run.

    Attributes:
        run: Which time through the loads, from 1.
        reference_n: True force, newtons.
        counts: Reading at rest, raw.
        direction: `up` from a lighter load, or `down`.
    """

    run: int
    reference_n: float
    counts: float
    direction: str = "up"


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationResult:
    """A calibration with everything that a force read back needs.

    Attributes:
        calibration: The noun for recordings, counts to newtons.
        fit: Counts above zero against force.
        zero_counts: Empty reading that the counts stand above.
        f: The F-test of the quadratic, or None where it could not be made.
        u_reference_pct: Standard uncertainty that all reference forces share, per cent.
        repeatability_pct: Greatest spread of one load over the runs, same side.
        reversibility_pct: Greatest difference from below and above, or None.
        interpolation_pct: Greatest distance of a load's mean from the curve, per cent of it.
        loads: How many different loads.
        runs: How many runs.
        warnings: What the person should know, one line each.
    """

    calibration: Calibration
    fit: PolynomialFit
    zero_counts: float
    f: FTest | None
    u_reference_pct: float
    repeatability_pct: float | None
    reversibility_pct: float | None
    interpolation_pct: float
    loads: int
    runs: int
    warnings: tuple[str, ...] = ()

    @property
    def lower_limit_factor_n(self) -> float:
        """2.4 residual deviations in newtons (vocabulary of ASTM E74)."""
        middle = (self.fit.x_low + self.fit.x_high) / 2
        return self.fit.lower_limit_factor / abs(self.fit.slope_at(middle))

    def read_back(self, counts: float, *, u_counts: float = 0.0) -> tuple[float, float]:
        """Force at a reading and its standard uncertainty, newtons.

        Args:
            counts: A reading, raw, by the calibration's own zero.
            u_counts: Its standard uncertainty (noise, zero); the calibration's is added.
        """
        above = counts - self.zero_counts
        back = self.fit.read_back(above, u_y=hypot(u_counts, self.fit.residual_sd))
        common = self.u_reference_pct / 100 * back.value
        return back.value, sqrt(back.u**2 + common**2 + self._beyond_n(back.value) ** 2)

    def u_force_n(self, force_n: float) -> float:
        """Standard uncertainty of a force read with this calibration, newtons."""
        at = self.fit.predict(force_n).value
        return self.read_back(at + self.zero_counts)[1]

    def _beyond_n(self, force_n: float) -> float:
        """What a bow unseen beyond the heaviest load may add."""
        top = self.fit.x_high
        return max(0.0, force_n / top * (force_n / top - 1)) * 4 * UNKNOWN_BOW * top

    def record(self) -> dict[str, Any]:
        """The calibration as plain values, to be stored and named by pulls."""
        return {
            "name": self.calibration.name,
            "date": self.calibration.date,
            "polynomial": list(self.calibration.coefficients),
            "zero_counts": self.zero_counts,
            "fit": {
                "coefficients": self.fit.coefficients.tolist(),
                "covariance": self.fit.covariance.tolist(),
                "residual_sd": self.fit.residual_sd,
                "freedoms": self.fit.freedoms,
                "r_squared": self.fit.r_squared,
                "range_N": [self.fit.x_low, self.fit.x_high],
            },
            "f": list(self.f[:2]) if self.f else None,
            "f_freedoms": list(self.f.freedoms) if self.f else None,
            "u_reference_pct": self.u_reference_pct,
            "repeatability_pct": self.repeatability_pct,
            "reversibility_pct": self.reversibility_pct,
            "interpolation_pct": self.interpolation_pct,
            "lower_limit_factor_N": self.lower_limit_factor_n,
            "loads": self.loads,
            "runs": self.runs,
            "warnings": list(self.warnings),
        }


def calibration_from_record(record: Mapping[str, Any]) -> CalibrationResult:
    """The calibration that `record` keeps, able to read forces back as before."""
    fit = record["fit"]
    f = record.get("f")
    return CalibrationResult(
        calibration=Calibration(
            tuple(record["polynomial"]), name=record["name"], date=record["date"]
        ),
        fit=PolynomialFit(
            coefficients=np.array(fit["coefficients"]),
            covariance=np.array(fit["covariance"]),
            residuals=np.empty(0),
            residual_sd=fit["residual_sd"],
            freedoms=fit["freedoms"],
            r_squared=fit["r_squared"],
            origin=0.0,
            x_low=fit["range_N"][0],
            x_high=fit["range_N"][1],
        ),
        zero_counts=record["zero_counts"],
        f=FTest(f[0], f[1], tuple(record["f_freedoms"])) if f else None,
        u_reference_pct=record["u_reference_pct"],
        repeatability_pct=record["repeatability_pct"],
        reversibility_pct=record["reversibility_pct"],
        interpolation_pct=record["interpolation_pct"],
        loads=record["loads"],
        runs=record["runs"],
        warnings=tuple(record["warnings"]),
    )


def readings_of(check: CheckResult) -> list[Reading]:
    """The readings of a check that was made as a calibration (read without a calibration).

    A load met for the second time from the same side is in run 2, and so on.

    Raises:
        CalibrationError: The check was read in newtons.
    """
    if check.unit != "counts":
        raise CalibrationError(
            "this check was read in newtons: read its recording again without a calibration."
        )
    seen: Counter[tuple[float, str]] = Counter()
    readings = []
    for point in check.points:
        key = (round(point.reference, 3), point.direction)
        seen[key] += 1
        readings.append(Reading(seen[key], point.reference, point.reading, point.direction))
    return readings


def calibrate(
    readings: Sequence[Reading],
    *,
    zero_counts: float,
    u_reference_pct: float = 0.0,
    name: str = "",
    date: str | None = None,
    allow_inverted: bool = False,
) -> CalibrationResult:
    """Fit a full calibration.

    Args:
        readings: Loads of all runs, each brought to `zero_counts` (as the points of a
            check are).
        zero_counts: Empty reading.
        u_reference_pct: Standard uncertainty that all reference forces share, per cent.
        name: What the bench will call it.
        date: ISO date on which it was made.
        allow_inverted: Whether counts may fall as force rises.

    Raises:
        CalibrationError: Too few loads or runs, wires swapped, or counts that do not
            follow the load.
    """
    loads = sorted({round(r.reference_n, 3) for r in readings})
    runs = len({r.run for r in readings})
    _refuse_too_few(loads, runs)
    force = np.array([r.reference_n for r in readings])
    counts = np.array([r.counts for r in readings]) - zero_counts
    line = fit_line(force, counts)
    _refuse_wrong_slope(line, force, counts, allow_inverted)
    square = fit_polynomial(force, counts, degree=2)
    f = f_test(line, square)
    fit = square if f.p < EARNED_P else line
    ways = [r.direction for r in readings]
    return CalibrationResult(
        calibration=replace(_noun(fit, zero_counts), name=name, date=date),
        fit=fit,
        zero_counts=zero_counts,
        f=f,
        u_reference_pct=u_reference_pct,
        repeatability_pct=repeatability_pct(list(force), ways, list(counts)),
        reversibility_pct=reversibility_pct(list(force), ways, list(counts)),
        interpolation_pct=_interpolation_pct(fit, force, counts),
        loads=len(loads),
        runs=runs,
    )


def _refuse_too_few(loads: Sequence[float], runs: int) -> None:
    if len(loads) < FEWEST_LOADS or runs < FEWEST_RUNS:
        raise CalibrationError(
            f"a full calibration needs {FEWEST_LOADS} different loads in {FEWEST_RUNS} runs, "
            f"not {len(loads)} in {runs}. Hang more loads."
        )


def _refuse_wrong_slope(
    line: PolynomialFit, force: np.ndarray, counts: np.ndarray, allow_inverted: bool
) -> None:
    if line.slope < 0 and not allow_inverted:
        raise CalibrationError(
            f"counts fall as the load rises ({line.slope:.1f} per N): the signal wires are "
            "swapped. Swap them, or say that the cell is meant to be inverted."
        )
    if abs(line.slope) * np.ptp(force) < 5 * line.residual_sd:
        raise CalibrationError(
            f"counts do not follow the load (they change by {np.ptp(counts):.0f} and scatter "
            f"by {line.residual_sd:.0f}). Look at the plug and at which mass was hung when."
        )


def _noun(fit: PolynomialFit, zero_counts: float) -> Calibration:
    """Counts to newtons of the same degree, along the fitted curve from zero up."""
    force = np.linspace(0.0, fit.x_high, 25)
    above = np.array([fit.predict(f).value for f in force])
    back = fit_polynomial(above + zero_counts, force, degree=fit.degree)
    return Calibration(tuple(float(c) for c in back.coefficients))


def _interpolation_pct(fit: PolynomialFit, force: np.ndarray, counts: np.ndarray) -> float:
    """Greatest |mean of a load - curve|, per cent of the curve (ISO 376's f_c)."""
    errors = []
    for load in np.unique(force.round(3)):
        own = counts[force.round(3) == load].mean()
        curve = fit.predict(float(load)).value
        errors.append(100 * abs(own - curve) / abs(curve))
    return float(max(errors))
