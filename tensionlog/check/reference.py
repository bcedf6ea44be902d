"""What force was really on the cell: masses, gravity, a reference scale, and their doubt.

The doubt has two kinds of part. A *common* part moves every force of the day by the same
per cent (gravity, plates weighed on one scale, a pulley, a tilt, a certificate). A
*piece's own* part belongs to one mass: the tolerance of its class, rectangular. Two
loads that share a piece share its error, so the forces carry a covariance, not a list.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import cos, isfinite, log, radians, sin, sqrt
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tensionlog.check.gravity import (
    PLAUSIBLE_G_M_S2,
    U_NORMAL_GRAVITY_M_S2,
    buoyancy_factor,
    hung_force_n,
    normal_gravity,
)
from tensionlog.errors import CalibrationError
from tensionlog.units import STANDARD_GRAVITY_M_S2

MASS_LIMIT_MG: Final[Mapping[str, Mapping[float, float]]] = {
    "F2": {0.5: 8, 1: 16, 2: 30, 5: 80, 10: 160, 20: 300, 50: 800},
    "M1": {0.5: 25, 1: 50, 2: 100, 5: 250, 10: 500, 20: 1000, 50: 2500},
    "M2": {0.5: 80, 1: 160, 2: 300, 5: 800, 10: 1600, 20: 3000, 50: 8000},
    "M3": {0.5: 250, 1: 500, 2: 1000, 5: 2500, 10: 5000, 20: 10000, 50: 25000},
}
"""Greatest error a mass of a class may have: OIML R 111-1, table 1. The limits of 1, 2
and 5 kg (M1 to M3) were read there; the others are from memory."""

UNKNOWN_G_HALF_WIDTH_M_S2: Final = 0.026
"""9.78 to 9.832: what gravity can be where nobody said where the bench stands."""

MOST_PIECES: Final = 12
"""Sets are searched for the pieces of a load by trying all of their combinations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSettings:
    """What the bench checks its cell with.

    Attributes:
        kind: `masses` or `scale` (a reference scale in line with the pull).
        masses_kg: The pieces of the set, nominal, kilograms.
        gravity_m_s2: Local gravity.
        u_gravity_m_s2: Its standard uncertainty.
        mass_class: Key of `MASS_LIMIT_MG`, or None.
        u_common_pct: Standard uncertainty that all forces share, per cent: own plates
            weighed, or the certificate of the scale.
        u_each_n: Standard uncertainty of each force by itself, newtons (a scale's
            resolution).
        factor: Buoyancy, times what a pulley or a tilt leaves of the force.
        u_factor: Its standard uncertainty, relative.
        assumed: What had to be assumed because the set-up does not say, in words.
    """

    kind: str = "masses"
    masses_kg: tuple[float, ...] = ()
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2
    u_gravity_m_s2: float = 0.0
    mass_class: str | None = None
    u_common_pct: float | None = None
    u_each_n: float = 0.0
    factor: float = 0.99985
    u_factor: float = 0.0
    assumed: tuple[str, ...] = ()

    @property
    def is_exact(self) -> bool:
        """Whether the masses (or the scale) count as exact, since nobody said."""
        return self.mass_class is None and self.u_common_pct is None and not self.u_each_n

    def force_n(self, mass_kg: float) -> float:
        """Force of a hung mass, newtons: gravity, buoyancy, pulley and tilt included."""
        return hung_force_n(mass_kg=mass_kg, gravity_m_s2=self.gravity_m_s2, factor=self.factor)

    def covariance_n2(
        self, forces_n: NDArray[np.float64], masses_kg: Sequence[float | None]
    ) -> NDArray[np.float64]:
        """Covariance of reference forces, newtons squared, shape (n, n).

        Args:
            forces_n: The forces, shape (n,).
            masses_kg: What was hung for each, or None where a scale was read.
        """
        common = self.u_common_pct or 0.0
        scale = (common / 100) ** 2 + self.u_factor**2
        if self.kind == "masses":
            scale += (self.u_gravity_m_s2 / self.gravity_m_s2) ** 2
        total: NDArray[np.float64] = scale * np.outer(forces_n, forces_n)
        total += self.u_each_n**2 * np.eye(len(forces_n)) * (forces_n != 0)
        return total + self._piece_covariance_n2(masses_kg)

    def u_common_of_pct(self, masses_kg: Sequence[float | None]) -> float:
        """What the forces of some loads share as doubt at most, per cent of each.

        Loads hung from one set share pieces: the relative doubt of the worst load stands
        for all of them.
        """
        forces = np.array([self.force_n(m) if m else 1.0 for m in masses_kg])
        if not len(forces):
            return 0.0
        variance = np.diag(self.covariance_n2(forces, masses_kg))
        return 100 * float(np.sqrt(variance / forces**2).max())

    def _piece_covariance_n2(self, masses_kg: Sequence[float | None]) -> NDArray[np.float64]:
        n = len(masses_kg)
        total = np.zeros((n, n))
        if self.mass_class is None:
            return total
        per_kg = self.gravity_m_s2 * self.factor
        hung = [dict(self._pieces(m)) if m else {} for m in masses_kg]
        for i, j in np.ndindex(n, n):
            shared = [kg for piece, kg in hung[i].items() if piece in hung[j]]
            total[i, j] = sum((per_kg * mass_u_kg(kg, self.mass_class)) ** 2 for kg in shared)
        return total

    def _pieces(self, mass_kg: float) -> list[tuple[str, float]]:
        """Which pieces of the set make up a load: (identity, kilograms) each."""
        own = [(f"piece {i}", kg) for i, kg in enumerate(self.masses_kg[:MOST_PIECES])]
        for size in range(1, len(own) + 1):
            for some in combinations(own, size):
                if abs(sum(kg for _, kg in some) - mass_kg) < 1e-6 * mass_kg:
                    return list(some)
        return [(f"{mass_kg:.6g}", mass_kg)]


def mass_limit_mg(mass_kg: float, mass_class: str) -> float:
    """Greatest error of a mass of `mass_class`, milligrams.

    Between the nominal values of the table by a straight line in the logarithms.

    >>> mass_limit_mg(5, "M1")
    250.0
    """
    table = MASS_LIMIT_MG[mass_class]
    if mass_kg in table:
        return float(table[mass_kg])
    x = np.log(np.fromiter(table.keys(), dtype=np.float64))
    y = np.log(np.fromiter(table.values(), dtype=np.float64))
    inside = float(np.clip(mass_kg, min(table), max(table)))
    limit = float(np.exp(np.interp(log(inside), x, y)))
    return limit * mass_kg / inside if mass_kg > inside else limit


def mass_u_kg(mass_kg: float, mass_class: str) -> float:
    """Standard uncertainty of a mass of `mass_class`, rectangular over its limits, kg."""
    return mass_limit_mg(mass_kg, mass_class) * 1e-6 / sqrt(3)


def settings_from_note(body: Mapping[str, Any]) -> ReferenceSettings:
    """Read the body of a `check-start` note.

    Args:
        body: `reference`, `masses_kg`, `gravity` or `latitude_deg` and `height_m`;
            optional `mass_class`, `u_mass_pct`, `u_scale_pct`, `u_scale_N`,
            `u_gravity`, `mass_kg_m3`, `pulley_factor`, `u_pulley_pct`, `tilt_deg`,
            `u_tilt_deg`.

    Raises:
        CalibrationError: A value that cannot be.
    """
    kind = str(body.get("reference", "masses"))
    if kind not in ("masses", "scale"):
        raise CalibrationError(
            f"a check against {kind!r} is not known. Name the reference 'masses' or 'scale'."
        )
    gravity, u_gravity, assumed = _gravity(body, kind)
    factor, u_factor = _factor(body, kind)
    return ReferenceSettings(
        kind=kind,
        masses_kg=_masses_kg(body.get("masses_kg")),
        gravity_m_s2=gravity,
        u_gravity_m_s2=u_gravity,
        mass_class=_mass_class(body),
        u_common_pct=_u_common_pct(body),
        u_each_n=_number(body, "u_scale_N", 0.0),
        factor=factor,
        u_factor=u_factor,
        assumed=assumed,
    )


def _masses_kg(given: object) -> tuple[float, ...]:
    if given is None:
        return ()
    pieces = given if isinstance(given, list | tuple) else [given]
    return tuple(_positive(piece, "a mass of the set") for piece in pieces)


def _gravity(body: Mapping[str, Any], kind: str) -> tuple[float, float, tuple[str, ...]]:
    if body.get("gravity") is not None:
        gravity = _number(body, "gravity", STANDARD_GRAVITY_M_S2)
        low, high = PLAUSIBLE_G_M_S2
        if not low <= gravity <= high:
            raise CalibrationError(
                f"gravity of {gravity:g} m/s2 is found nowhere on Earth ({low} to {high}). "
                "Give latitude and height instead."
            )
        return gravity, _number(body, "u_gravity", 0.0), ()
    if body.get("latitude_deg") is not None:
        gravity = normal_gravity(
            latitude_deg=_number(body, "latitude_deg", 0.0),
            height_m=_number(body, "height_m", 0.0),
        )
        return gravity, U_NORMAL_GRAVITY_M_S2, ()
    if kind == "scale":
        return STANDARD_GRAVITY_M_S2, 0.0, ()
    said = "neither gravity nor latitude is set: standard gravity taken, 0.15 % of doubt added"
    return STANDARD_GRAVITY_M_S2, UNKNOWN_G_HALF_WIDTH_M_S2 / sqrt(3), (said,)


def _factor(body: Mapping[str, Any], kind: str) -> tuple[float, float]:
    """Buoyancy, pulley and tilt as one factor and its relative standard uncertainty."""
    tilt = radians(_number(body, "tilt_deg", 0.0))
    u_tilt = radians(_number(body, "u_tilt_deg", 0.0))
    pulley = _number(body, "pulley_factor", 1.0)
    density = _number(body, "mass_kg_m3", 8000.0)
    air = buoyancy_factor(mass_kg_m3=density) if kind == "masses" else 1.0
    # cos is flat at zero, so its first-order term alone would call an unsure plumb exact
    u_cos = sqrt((sin(tilt) * u_tilt) ** 2 + u_tilt**4 / 2) / cos(tilt)
    u_pulley = _number(body, "u_pulley_pct", 0.0) / 100 / pulley
    return air * pulley * cos(tilt), sqrt(u_cos**2 + u_pulley**2)


def _mass_class(body: Mapping[str, Any]) -> str | None:
    given = body.get("mass_class")
    if given is None:
        return None
    name = str(given).strip().upper()
    if name not in MASS_LIMIT_MG:
        raise CalibrationError(
            f"mass class {given!r} is not known. Use one of {', '.join(MASS_LIMIT_MG)}, "
            "or weigh the plates and give u_mass_pct."
        )
    return name


def _u_common_pct(body: Mapping[str, Any]) -> float | None:
    given = [body[k] for k in ("u_mass_pct", "u_scale_pct") if body.get(k) is not None]
    if not given:
        return None
    return sqrt(sum(_not_negative(u, "an uncertainty in per cent") ** 2 for u in given))


def _number(body: Mapping[str, Any], key: str, default: float) -> float:
    given = body.get(key)
    if given is None:
        return default
    try:
        number = float(given)
    except (TypeError, ValueError):
        number = float("nan")
    if not isfinite(number):
        raise CalibrationError(f"{key} is {given!r}, not a number. Correct it in the set-up.")
    return number


def _positive(given: object, what: str) -> float:
    number = _number({what: given}, what, float("nan"))
    if not number > 0:
        raise CalibrationError(f"{what} is {given!r}. It must be above zero.")
    return number


def _not_negative(given: object, what: str) -> float:
    number = _number({what: given}, what, float("nan"))
    if not number >= 0:
        raise CalibrationError(f"{what} is {given!r}. It must not be below zero.")
    return number
