"""Reference forces and their doubt.

Limits of the mass classes: OIML R 111-1:2004, table 1.
"""

from math import cos, radians, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.check.reference import (
    ReferenceSettings,
    mass_limit_mg,
    mass_u_kg,
    settings_from_note,
)
from tensionlog.errors import CalibrationError
from tensionlog.units import N_PER_KGF, N_PER_LBF

CLASSES = st.sampled_from(["F2", "M1", "M2", "M3"])


@given(CLASSES, st.floats(0.5, 50), st.floats(1.01, 2))
def test_a_heavier_mass_is_never_allowed_less(name, mass_kg, more):
    assert mass_limit_mg(mass_kg * more, name) >= mass_limit_mg(mass_kg, name) * 0.999


@given(CLASSES, st.floats(50, 500))
def test_beyond_the_table_the_relative_limit_stays(name, mass_kg):
    assert mass_limit_mg(mass_kg, name) / mass_kg == pytest.approx(mass_limit_mg(50, name) / 50)


@pytest.mark.parametrize(
    ("name", "limits_mg"),
    [
        ("M1", {1: 50, 2: 100, 5: 250, 10: 500, 20: 1000}),
        ("M2", {1: 160, 2: 300, 5: 800, 10: 1600, 20: 3000}),
        ("M3", {1: 500, 2: 1000, 5: 2500, 10: 5000, 20: 10000}),
    ],
)
def test_oiml_limits(name, limits_mg):
    assert {kg: mass_limit_mg(kg, name) for kg in limits_mg} == limits_mg


def test_a_class_is_rectangular():
    assert mass_u_kg(10, "M1") == pytest.approx(500e-6 / sqrt(3))


def test_twenty_kilograms_at_standard_gravity():
    """Conventional mass in air: factor 0.99985, 196.10358005 N (worked out by hand)."""
    settings = ReferenceSettings(gravity_m_s2=9.80665)

    assert settings.force_n(20) == pytest.approx(196.10358005, rel=1e-12)


def test_units_of_force_are_the_legal_ones():
    """28 kgf = 274.5862 N = 61.729433 lbf (exact definitions)."""
    assert pytest.approx(274.5862, rel=1e-12) == 28 * N_PER_KGF
    assert 274.5862 / N_PER_LBF == pytest.approx(61.729433, abs=5e-7)


def test_two_loads_that_share_a_piece_share_its_error():
    settings = settings_from_note({"masses_kg": [5, 10], "gravity": 9.81, "mass_class": "M2"})
    masses = [5.0, 10.0, 15.0]
    forces = np.array([settings.force_n(m) for m in masses])

    covariance = settings.covariance_n2(forces, masses)

    per_kg = 9.81 * 0.99985
    u5, u10 = (per_kg * limit * 1e-6 / sqrt(3) for limit in (800, 1600))
    expected = [[u5**2, 0, u5**2], [0, u10**2, u10**2], [u5**2, u10**2, u5**2 + u10**2]]
    assert covariance == pytest.approx(np.array(expected))


def test_a_set_of_one_may_be_written_without_a_list():
    assert settings_from_note({"masses_kg": 5, "gravity": 9.81}).masses_kg == (5.0,)


def test_a_load_that_the_set_cannot_make_stands_by_itself():
    settings = ReferenceSettings(masses_kg=(5.0,), mass_class="M1")

    covariance = settings.covariance_n2(np.array([49.0, 29.4]), [5.0, 3.0])

    assert covariance[0, 1] == 0
    assert covariance[1, 1] > 0


def test_own_plates_share_their_per_cent_and_two_per_cents_add_in_squares():
    settings = settings_from_note({"gravity": 9.81, "u_mass_pct": 0.03, "u_scale_pct": 0.04})
    forces = np.array([50.0, 100.0])

    covariance = settings.covariance_n2(forces, [5.0, 10.0])

    assert np.sqrt(np.diag(covariance)) == pytest.approx(forces * 0.0005)
    assert covariance[0, 1] == pytest.approx(50 * 100 * 0.0005**2)


def test_without_class_or_uncertainty_the_masses_count_as_exact():
    settings = settings_from_note({"masses_kg": [5], "gravity": 9.81})

    assert settings.is_exact
    assert not settings.covariance_n2(np.array([49.0]), [5.0]).any()


def test_gravity_by_place_carries_what_the_ground_may_add():
    settings = settings_from_note({"latitude_deg": 45, "height_m": 500})

    assert settings.gravity_m_s2 == pytest.approx(9.8046551757, abs=1e-9)
    assert 0 < settings.u_gravity_m_s2 / settings.gravity_m_s2 < 1e-4


def test_gravity_that_nobody_gave_is_assumed_aloud():
    settings = settings_from_note({"masses_kg": [5]})

    assert settings.gravity_m_s2 == 9.80665
    assert "neither gravity nor latitude" in settings.assumed[0]
    u_pct = 100 * settings.u_gravity_m_s2 / settings.gravity_m_s2
    assert u_pct == pytest.approx(0.153, abs=0.001)


def test_a_scale_needs_no_gravity_and_has_its_own_resolution():
    settings = settings_from_note({"reference": "scale", "u_scale_pct": 0.1, "u_scale_N": 0.2})

    covariance = settings.covariance_n2(np.array([0.0, 100.0]), [None, None])

    assert settings.factor == 1.0
    assert np.sqrt(covariance[1, 1]) == pytest.approx(np.hypot(0.1, 0.2))
    assert covariance[0, 0] == 0


def test_a_tilt_and_a_pulley_are_named_terms():
    body = {"gravity": 9.8, "tilt_deg": 10, "u_tilt_deg": 1, "pulley_factor": 0.99}
    settings = settings_from_note(body | {"u_pulley_pct": 0.5})

    assert settings.factor == pytest.approx(0.99985 * 0.99 * cos(radians(10)))
    tilt = radians(1) * np.tan(radians(10))
    assert settings.u_factor == pytest.approx(np.hypot(tilt, 0.005 / 0.99), rel=0.01)


def test_an_unsure_plumb_is_not_exact():
    assert settings_from_note({"gravity": 9.8, "u_tilt_deg": 2}).u_factor > 4e-4


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"reference": "spring"}, "'spring'"),
        ({"gravity": 981}, "981"),
        ({"gravity": "heavy"}, "'heavy'"),
        ({"latitude_deg": 123}, "123"),
        ({"masses_kg": [5, -1]}, "-1"),
        ({"mass_class": "M9"}, "'M9'"),
        ({"u_mass_pct": -0.1}, "-0.1"),
        ({"gravity": float("nan")}, "nan"),
    ],
)
def test_settings_that_cannot_be_are_refused_by_value(body, said):
    with pytest.raises(CalibrationError, match=said):
        settings_from_note({"gravity": 9.81} | body if "latitude_deg" not in body else body)
