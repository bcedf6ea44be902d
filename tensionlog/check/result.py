"""What a morning check found, and how it is answered."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite, sqrt
from typing import Any, NamedTuple

UNKNOWN_BOW = 0.0005
"""Bow of an ordinary cell over its range, as a share of the load: what must be allowed
for beyond the heaviest mass, where nothing was hung (common practice, no source)."""


def u_force_n(
    *,
    force_n: float,
    top_n: float,
    u_span_pct: float,
    nonlinearity_pct: float = 0.0,
    u_zero_n: float = 0.0,
) -> float:
    """Standard uncertainty of a force read with a checked cell, newtons.

    Up to the heaviest load the span's uncertainty and what bows off the line; beyond it
    the bow goes on as its square, unseen, so the doubt grows faster than the force.

    Args:
        force_n: The force.
        top_n: The heaviest load of the check.
        u_span_pct: Standard uncertainty of the span, per cent.
        nonlinearity_pct: Greatest distance from the line, per cent of `top_n`.
        u_zero_n: Standard uncertainty of the zero.
    """
    bow = nonlinearity_pct / 100 * top_n / sqrt(3)
    beyond = max(0.0, force_n / top_n * (force_n / top_n - 1)) * 4 * UNKNOWN_BOW * top_n
    span = u_span_pct / 100 * force_n
    return sqrt(span**2 + bow**2 + beyond**2 + u_zero_n**2)


class Load(NamedTuple):
    """A reference that the operator begins to put on the cell.

    Attributes:
        t_s: When, on the time base of the samples.
        mass_kg: The mass; 0 is empty. None where a force is named instead.
        force_n: The force a reference scale shows, newtons, or None.
    """

    t_s: float
    mass_kg: float | None = None
    force_n: float | None = None

    @property
    def is_empty(self) -> bool:
        """Whether it takes everything off the cell."""
        return not self.mass_kg and not self.force_n

    @property
    def name(self) -> str:
        """The load in words."""
        if self.is_empty:
            return "empty"
        return f"{self.mass_kg:g} kg" if self.mass_kg else f"{self.force_n:g} N"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One load as the cell read it.

    Attributes:
        load: What was named.
        reference: True force, newtons.
        reading: The level read, brought to the zero of the check's beginning
            (`zero` of the result); newtons, or counts without a calibration.
        as_read: The level as it stood.
        error: `reading` less zero less reference; None without a calibration.
        u: One standard uncertainty of the error: noise, swing, the wander of zero, and
            the reference's own.
        direction: `up` when it was reached from a lighter load, else `down`.
        start_s: Where the stable window begins.
        end_s: Where it ends.
    """

    load: Load
    reference: float
    reading: float
    as_read: float
    error: float | None
    u: float
    direction: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult:
    """What a morning check found.

    Readings are newtons by the calibration in force, or counts where there is none
    (`unit` says which). What is not known is None.

    Attributes:
        unit: `N` or `counts`.
        zero: Empty reading at the beginning.
        u_zero: Its standard uncertainty.
        span_error_pct: Slope of reading against reference less one, per cent.
        u_span_error_pct: Its standard uncertainty, the reference's own included.
        points: Every load that came to rest, in order of time.
        repeatability_pct: Greatest spread of one load read again from the same side.
        reversibility_pct: Greatest difference of one load read from below and above.
        nonlinearity_pct: Greatest distance from the fitted line, of the heaviest load.
        zero_return: Last empty reading less the first.
        creep_pct: Change within the stable windows of the heaviest load, of that load.
        verdict: `good`, `adjust`, `stop`; None where it cannot be given.
        counts_per_n: What the check itself says the scale is; None where it cannot.
        wander_n_per_root_s: How fast zero wanders, as taken for the uncertainties.
        noise: Standard deviation of one sample.
        budget_pct: Parts of `u_span_error_pct` by name, per cent.
        masses_exact: Whether the reference counted as exact because nobody said.
        problem: Why there is no verdict, in one line; None where there is one.
        incomplete: Whether the check was broken off.
        warnings: What else the person should know, one line each.
    """

    unit: str = "N"
    zero: float | None = None
    u_zero: float | None = None
    span_error_pct: float | None = None
    u_span_error_pct: float | None = None
    points: tuple[Point, ...] = ()
    repeatability_pct: float | None = None
    reversibility_pct: float | None = None
    nonlinearity_pct: float | None = None
    zero_return: float | None = None
    creep_pct: float | None = None
    verdict: str | None = None
    counts_per_n: float | None = None
    wander_n_per_root_s: float | None = None
    noise: float | None = None
    budget_pct: Mapping[str, float] = field(default_factory=dict)
    masses_exact: bool = True
    problem: str | None = None
    incomplete: bool = False
    warnings: tuple[str, ...] = ()

    @property
    def heaviest_n(self) -> float | None:
        """Greatest reference force that was hung: the end of the range covered."""
        return max((p.reference for p in self.points), default=None)

    def u_force_n(self, force_n: float) -> float | None:
        """Standard uncertainty of a force read with this cell, newtons; see `u_force_n`."""
        top = self.heaviest_n
        if top is None or self.u_span_error_pct is None or self.unit != "N":
            return None
        return u_force_n(
            force_n=force_n,
            top_n=top,
            u_span_pct=self.u_span_error_pct,
            nonlinearity_pct=self.nonlinearity_pct or 0.0,
            u_zero_n=self.u_zero or 0.0,
        )

    def answer(self) -> dict[str, Any]:
        """The check as it is answered: the pinned keys first, then this product's own."""
        newtons = self.unit == "N"
        return {
            "zero_N": _number(self.zero) if newtons else None,
            "span_error_pct": _number(self.span_error_pct),
            "u_span_error_pct": _number(self.u_span_error_pct),
            "points": [self._point(point) for point in self.points],
            "repeatability_pct": _number(self.repeatability_pct),
            "reversibility_pct": _number(self.reversibility_pct),
            "nonlinearity_pct": _number(self.nonlinearity_pct),
            "zero_return_N": _number(self.zero_return) if newtons else None,
            "verdict": self.verdict,
            "u_zero_N": _number(self.u_zero) if newtons else None,
            "creep_pct": _number(self.creep_pct),
            "range_N": _number(self.heaviest_n),
            "counts_per_N": _number(self.counts_per_n),
            "wander_N_per_root_s": _number(self.wander_n_per_root_s),
            "budget_pct": {k: _number(v) for k, v in self.budget_pct.items()},
            "masses_exact": self.masses_exact,
            "incomplete": self.incomplete,
            "problem": self.problem,
            "warnings": list(self.warnings),
            **self._counts(),
        }

    def _counts(self) -> dict[str, Any]:
        if self.unit == "N":
            return {}
        return {
            "zero_counts": _number(self.zero),
            "u_zero_counts": _number(self.u_zero),
            "zero_return_counts": _number(self.zero_return),
        }

    def _point(self, point: Point) -> dict[str, Any]:
        newtons = self.unit == "N"
        answer: dict[str, Any] = {
            "reference_N": _number(point.reference),
            "reading_N": _number(point.reading) if newtons else None,
            "error_N": _number(point.error) if newtons else None,
            "u_N": _number(point.u) if newtons else None,
            "load": point.load.name,
            "direction": point.direction,
            "as_read_N": _number(point.as_read) if newtons else None,
            "start_s": _number(point.start_s),
            "end_s": _number(point.end_s),
        }
        if not newtons:
            answer |= {
                "reading_counts": _number(point.reading),
                "u_counts": _number(point.u),
            }
        return answer


def _number(x: float | None) -> float | None:
    """A plain float, or None for what is not known (JSON has no NaN)."""
    return None if x is None or not isfinite(x) else float(x)
