"""Local gravity by the closed normal-gravity formula, and buoyancy of air.

Constants: WGS84, NIMA TR8350.2 (3rd ed., 2000), tables 3.1 and 3.4; GRS80, H. Moritz,
"Geodetic Reference System 1980". Both from memory, checked in the tests against values
worked out independently.
"""

from dataclasses import dataclass
from math import radians, sin, sqrt
from typing import Final

from tensionlog.errors import CalibrationError

PLAUSIBLE_G_M_S2: Final = (9.76, 9.84)
"""No place where people live lies outside (high Andes 9.76, poles 9.832)."""

U_NORMAL_GRAVITY_M_S2: Final = 3e-4
"""What the ground below adds to the formula, one standard uncertainty: anomalies of
some 30 mGal are ordinary (from memory). It is 0.003 % of a force."""

FREE_AIR_M_S2_PER_M: Final = -3.086e-6
AIR_KG_M3: Final = 1.2
CONVENTIONAL_MASS_KG_M3: Final = 8000.0


@dataclass(frozen=True, slots=True)
class Ellipsoid:
    """The figures that close the normal-gravity formula.

    Attributes:
        equator_m_s2: Normal gravity at the equator.
        k: Somigliana's constant.
        e2: First eccentricity squared.
    """

    equator_m_s2: float
    k: float
    e2: float


WGS84: Final = Ellipsoid(9.7803253359, 0.00193185265241, 0.00669437999014)
GRS80: Final = Ellipsoid(9.7803267715, 0.001931851353, 0.00669438002290)

_AXIS_M: Final = 6378137.0
_FLATTENING: Final = 1 / 298.257223563
_CENTRIFUGAL: Final = 0.00344978650684


def normal_gravity(
    *, latitude_deg: float, height_m: float = 0.0, ellipsoid: Ellipsoid = WGS84
) -> float:
    """Gravity at a latitude and height, in m/s².

    Somigliana's closed form on the ellipsoid, carried up by the second-order free-air
    series (at 500 m it differs from -3.086e-6 per metre by 1e-6 m/s² at most).

    Args:
        latitude_deg: Geodetic latitude, -90…90.
        height_m: Height above the ellipsoid; above sea level does as well.
        ellipsoid: `WGS84` or `GRS80`.

    Raises:
        CalibrationError: A latitude or height that no bench on Earth has.

    >>> round(normal_gravity(latitude_deg=45.0), 6)
    9.806198
    """
    _refuse_unearthly(latitude_deg, height_m)
    sin2 = sin(radians(latitude_deg)) ** 2
    surface = ellipsoid.equator_m_s2 * (1 + ellipsoid.k * sin2) / sqrt(1 - ellipsoid.e2 * sin2)
    first = 2 * (1 + _FLATTENING + _CENTRIFUGAL - 2 * _FLATTENING * sin2) / _AXIS_M
    return surface * (1 - first * height_m + 3 * (height_m / _AXIS_M) ** 2)


def _refuse_unearthly(latitude_deg: float, height_m: float) -> None:
    if not -90.0 <= latitude_deg <= 90.0:
        raise CalibrationError(
            f"a latitude of {latitude_deg:g} degrees does not exist. "
            "Give it in degrees, -90 to 90."
        )
    if not -500.0 <= height_m <= 9000.0:
        raise CalibrationError(
            f"a bench at a height of {height_m:g} m is not likely. Give metres above sea level."
        )


def buoyancy_factor(
    *, air_kg_m3: float = AIR_KG_M3, mass_kg_m3: float = CONVENTIONAL_MASS_KG_M3
) -> float:
    """What air leaves of a hanging mass's weight, as a factor.

    >>> buoyancy_factor()
    0.99985
    """
    return 1 - air_kg_m3 / mass_kg_m3


def hung_force_n(*, mass_kg: float, gravity_m_s2: float, factor: float = 0.99985) -> float:
    """Force of a hung mass in newtons, buoyancy (`factor`) included.

    >>> round(hung_force_n(mass_kg=20.0, gravity_m_s2=9.80665), 8)
    196.10358005
    """
    return mass_kg * gravity_m_s2 * factor
