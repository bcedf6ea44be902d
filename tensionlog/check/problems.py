"""What goes wrong with a check, in plain words: one line that says what to do."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from tensionlog.check.budget import Errors
from tensionlog.check.cleaning import Clean, Floats
from tensionlog.check.reference import ReferenceSettings
from tensionlog.check.result import CheckResult, Load, Point
from tensionlog.check.verdict import Tolerance
from tensionlog.check.visits import Visit
from tensionlog.errors import CalibrationError
from tensionlog.units import N_PER_KGF, N_PER_LBF

NO_CALIBRATION: Final = (
    "this recording has no calibration: readings are in counts and there is no verdict. "
    "Calibrate the cell, then check it."
)

_MIXED_UP: Final = {
    "kgf": N_PER_KGF,
    "lbf": N_PER_LBF,
    "lbf for kgf": N_PER_KGF / N_PER_LBF,
}
_NEAR: Final = 0.03
"""How close a ratio must come to a unit's before the unit is named: a cell that is 3 %
off and a scale in the wrong unit are then still told apart (the ratios are 2 and more)."""


def named_loads(loads: Sequence[Load]) -> list[Load]:
    """The loads in order of time, each with a number that a load can have."""
    named = []
    for load in loads:
        mass, force = (_amount(x) for x in (load.mass_kg, load.force_n))
        named.append(Load(load.t_s, mass_kg=mass, force_n=force))
    return sorted(named, key=lambda load: load.t_s)


def _amount(given: object) -> float | None:
    if given is None:
        return None
    amount = float(given) if isinstance(given, int | float | str) and _reads(given) else -1.0
    if not (np.isfinite(amount) and amount >= 0):
        raise CalibrationError(
            f"a load of {given!r} cannot be: it must be a number, 0 or more. Correct the note."
        )
    return amount


def _reads(given: int | float | str) -> bool:
    try:
        float(given)
    except ValueError:
        return False
    return True


def refuse_overload(
    loads: Sequence[Load], settings: ReferenceSettings, rated_n: float | None
) -> None:
    """Refuse a load that the cell may not carry."""
    for load in loads:
        force = settings.force_n(load.mass_kg) if load.mass_kg else (load.force_n or 0.0)
        if rated_n is not None and force > rated_n:
            raise CalibrationError(
                f"{load.name} is {force:.0f} N, above the cell's rated load of "
                f"{rated_n:.0f} N. Do not hang it; use a lighter mass."
            )


def refuse_nothing_read(samples: Clean, loads: Sequence[Load]) -> None:
    """Refuse a check without readings or without loads."""
    if not len(samples.t_s) and samples.saturated:
        raise CalibrationError(
            f"all {samples.saturated} readings are saturated: the cell is unplugged, miswired "
            "or overloaded. Look at its plug and wires."
        )
    if not len(samples.t_s):
        raise CalibrationError("no reading came during the check. Is the device plugged in?")
    if all(load.is_empty for load in loads):
        raise CalibrationError(
            f"no mass was named during the check ({len(loads)} empty readings only). "
            "Hang at least one known mass."
        )


def refuse_unread(visits: Sequence[Visit]) -> None:
    """Refuse a check in which zero, or every load, never came to rest."""
    for empty in (True, False):
        some = [visit for visit in visits if visit.load.is_empty is empty]
        if any(visit.level for visit in some):
            continue
        named = "the empty cell" if empty else _names(some)
        raise CalibrationError(
            f"{named} never came to rest long enough to be read. "
            "Keep hands and draughts off and wait until the reading is announced."
        )


def _names(visits: Sequence[Visit]) -> str:
    return ", ".join(dict.fromkeys(visit.load.name for visit in visits)) or "a load"


def no_change(load: Load) -> str:
    """The reading stayed as the load was named."""
    return (
        f"the reading did not change as {load.name} was named: the cell is unplugged or stuck, "
        "or the mass was not hung on it. Look at its plug, then repeat."
    )


def contradiction(points: Sequence[Point], errors: Errors, allowed: Tolerance) -> str | None:
    """Why the readings cannot be those of a sound cell under these loads, or None."""
    change = errors.added_n
    ratio = change / errors.reference_n
    return (
        _unchanged(points, ratio, errors)
        or _wrong_sign(points, ratio)
        or _wrong_unit(ratio)
        or _named_twice(points, change, errors, allowed)
    )


def _unchanged(points: Sequence[Point], ratio: Floats, errors: Errors) -> str | None:
    for point, share, u in zip(points, ratio, errors.u_n, strict=True):
        if abs(share) < 0.05 + 2 * u / point.reference and abs(share) < 0.2:
            return no_change(point.load)
    return None


def _wrong_sign(points: Sequence[Point], ratio: Floats) -> str | None:
    if np.all(ratio < 0):
        return (
            f"the reading falls as the load rises ({ratio.mean():.3f} N per N): the signal "
            "wires are swapped, or the cell is turned round. Swap them, then repeat."
        )
    if np.any(ratio < 0):
        odd = points[int(np.argmin(ratio))]
        return (
            f"the reading changes sign: {odd.load.name} reads below zero while others read "
            "above it. Look at the plug and at how the cell hangs, then repeat."
        )
    return None


def _wrong_unit(ratio: Floats) -> str | None:
    middle = float(np.median(ratio))
    for name, factor in _MIXED_UP.items():
        for expected in (factor, 1 / factor):
            if abs(middle / expected - 1) < _NEAR:
                return (
                    f"the cell reads {middle:.3g} times the reference, which is what a unit "
                    f"mixed up with {name} gives. Set the unit of the reference, then repeat."
                )
    return None


def _named_twice(
    points: Sequence[Point], change: Floats, errors: Errors, allowed: Tolerance
) -> str | None:
    """One name, two readings further apart than any cell's hysteresis."""
    for i, first in enumerate(points):
        for j in range(i + 1, len(points)):
            if abs(points[j].reference - first.reference) > 1e-6 * first.reference:
                continue
            apart = abs(change[j] - change[i])
            u = float(np.hypot(errors.u_n[i], errors.u_n[j]))
            if apart > 4 * allowed.at_n(first.reference) + 2 * u:
                return (
                    f"{first.load.name} was named twice but read {change[i]:.2f} and "
                    f"{change[j]:.2f} N: one of them was another mass. Repeat the check."
                )
    return None


def losses(
    samples: Clean, visits: Sequence[Visit], settings: ReferenceSettings
) -> tuple[str, ...]:
    """What was left out, and what the uncertainty does not hold, one line each."""
    said = []
    unread = [visit for visit in visits if visit.level is None]
    if unread:
        said.append(f"never came to rest, left out: {_names(unread)}")
    if samples.saturated:
        said.append(f"{samples.saturated} saturated readings left out")
    if samples.spikes:
        said.append(f"{samples.spikes} spikes left out")
    if settings.is_exact:
        said.append("the reference counts as exact: no mass class or uncertainty is set")
    return tuple(said)


def broken_off(result: CheckResult) -> CheckResult:
    """The same check without a verdict, because its end is missing."""
    return replace(
        result,
        verdict=None,
        incomplete=True,
        problem=result.problem
        or f"the check was broken off after {len(result.points)} load(s): kept, not judged. "
        "Do it again from the beginning.",
    )
