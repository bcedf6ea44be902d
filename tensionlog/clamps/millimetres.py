"""Newtons lost as millimetres of string: Δ = E·A·x/L (anchorage draw-in)."""

from typing import NamedTuple

import numpy as np

from tensionlog.clamps import law
from tensionlog.clamps.fit import Fit


class Millimetres(NamedTuple):
    """A length with its standard uncertainty."""

    mm: float
    u: float


class Give(NamedTuple):
    """How far a clamp gave; None where it cannot be said, with the reason.

    Attributes:
        give: Flex and slip together.
        flex: What came back under the second pull.
        slip: The rest.
        why_not: Why there are no millimetres, or None.
    """

    give: Millimetres | None = None
    flex: Millimetres | None = None
    slip: Millimetres | None = None
    why_not: str | None = None


def millimetres(
    *, force_n: float, u_n: float, span_m: float, ea_n: float, u_ea_pct: float
) -> Millimetres:
    """Length of string that a loss of force on a span stands for.

    Args:
        force_n: Loss of force, newtons.
        u_n: Its standard uncertainty.
        span_m: Length of the span, metres.
        ea_n: Axial stiffness at tension, newtons per unit strain.
        u_ea_pct: One standard uncertainty of the stiffness, per cent.

    >>> millimetres(force_n=10.0, u_n=0.5, span_m=0.5, ea_n=5000.0, u_ea_pct=0.0)
    Millimetres(mm=1.0, u=0.05)
    """
    per_newton = 1000.0 * span_m / ea_n
    length = force_n * per_newton
    u_stiffness = length * u_ea_pct / 100.0
    return Millimetres(length, float(((u_n * per_newton) ** 2 + u_stiffness**2) ** 0.5))


def why_no_millimetres(
    *, span_m: float | None, ea_n: float | None, unit: str = "N"
) -> str | None:
    """What is missing for millimetres, or None where nothing is."""
    if unit != "N":
        return "no calibration: counts only"
    if not span_m:
        return "no span entered: newtons only"
    if not ea_n:
        return "no stiffness (EA) entered or measured: newtons only"
    return None


def give_of(
    fit: Fit, *, span_m: float | None, ea_n: float | None, u_ea_pct: float, unit: str
) -> Give:
    """Give, flex and slip of a fitted hold test."""
    why_not = why_no_millimetres(span_m=span_m, ea_n=ea_n, unit=unit)
    if why_not is not None or span_m is None or ea_n is None:
        return Give(why_not=why_not)

    def length(force_n: float, u_n: float) -> Millimetres:
        return millimetres(
            force_n=force_n, u_n=u_n, span_m=span_m, ea_n=ea_n, u_ea_pct=u_ea_pct
        )

    loss, back = float(fit.theta[law.LOSS]), float(fit.theta[law.BACK])
    give = length(loss, fit.u(law.LOSS))
    if fit.rows.marks.again is None:
        return Give(give=give)
    difference = np.zeros(len(fit.theta))
    difference[law.LOSS], difference[law.BACK] = 1.0, -1.0
    flex = length(back, fit.u(law.BACK))
    return Give(give=give, flex=flex, slip=length(loss - back, fit.u_of(difference)))
