"""Normal gravity and buoyancy against values worked out elsewhere.

Source: Somigliana's closed form with the WGS84 and GRS80 constants, evaluated
independently; the equator and pole values are those printed with the systems
(NIMA TR8350.2, table 3.4; Moritz, GRS80).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.gravity import (
    FREE_AIR_M_S2_PER_M,
    GRS80,
    WGS84,
    buoyancy_factor,
    hung_force_n,
    normal_gravity,
)
from tensionlog.errors import CalibrationError

LATITUDES = st.floats(-90, 90)
TEN_DIGITS = 6e-11


@pytest.mark.parametrize(
    ("latitude_deg", "wgs84", "grs80"),
    [
        (0, 9.7803253359, 9.7803267715),
        (15, 9.7837849624, 9.7837863976),
        (45, 9.8061977694, 9.8061992025),
        (51.5, 9.8120335750, 9.8120350076),
        (59.91, 9.8191061864, 9.8191076183),
        (90, 9.8321849379, 9.8321863685),
    ],
)
def test_normal_gravity_on_the_ellipsoid(latitude_deg, wgs84, grs80):
    assert normal_gravity(latitude_deg=latitude_deg) == pytest.approx(wgs84, abs=TEN_DIGITS)
    assert normal_gravity(latitude_deg=latitude_deg, ellipsoid=GRS80) == pytest.approx(
        grs80, abs=TEN_DIGITS
    )


@pytest.mark.parametrize(
    ("latitude_deg", "at_500_m"),
    [(0, 9.7787816709), (45, 9.8046551757), (59.91, 9.8175641288), (90, 9.8306434247)],
)
def test_free_air_to_second_order(latitude_deg, at_500_m):
    g = normal_gravity(latitude_deg=latitude_deg, height_m=500)

    assert g == pytest.approx(at_500_m, abs=TEN_DIGITS)


@given(LATITUDES, st.floats(0, 2000))
def test_the_series_stays_near_the_linear_free_air_term(latitude_deg, height_m):
    ground = normal_gravity(latitude_deg=latitude_deg)

    risen = normal_gravity(latitude_deg=latitude_deg, height_m=height_m)

    assert risen == pytest.approx(ground + FREE_AIR_M_S2_PER_M * height_m, abs=1.2e-5)


@given(LATITUDES)
def test_both_hemispheres_weigh_alike_and_stay_between_equator_and_pole(latitude_deg):
    g = normal_gravity(latitude_deg=latitude_deg)

    assert g == normal_gravity(latitude_deg=-latitude_deg)
    assert WGS84.equator_m_s2 <= g <= 9.8321849379 + TEN_DIGITS


@pytest.mark.parametrize(
    ("latitude_deg", "height_m", "said"),
    [(91, 0, "91"), (float("nan"), 0, "nan"), (45, 20000, "20000"), (45, -900, "-900")],
)
def test_places_off_the_earth_are_refused_by_value(latitude_deg, height_m, said):
    with pytest.raises(CalibrationError, match=said):
        normal_gravity(latitude_deg=latitude_deg, height_m=height_m)


def test_conventional_mass_in_conventional_air():
    """OIML D 28: a conventional mass is stated for 8000 and 1.2 kg/m3."""
    assert buoyancy_factor() == pytest.approx(0.99985, rel=1e-15)
    assert hung_force_n(mass_kg=20, gravity_m_s2=9.80665) == pytest.approx(196.10358005)
