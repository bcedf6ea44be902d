"""The noise budget: its parts against figures worked elsewhere, its sum against a twin."""

import numpy as np
import pytest

from tensionlog.device.budget import Parts, budget_of
from tensionlog.errors import UsageError

PARTS = Parts(
    sensitivity_mv_per_v=2.0, rated_n=500.0, excitation_v=4.3, converter_nv=400.0, range_mv=16.8
)


def test_the_thermal_noise_is_what_tables_give():
    """4.07 nV/√Hz for 1 kΩ at 27 °C (300 K): from memory, as in any table of resistor noise."""
    from math import sqrt

    kilohm = Parts(
        sensitivity_mv_per_v=1.0, rated_n=1.0, excitation_v=1e-6, bridge_ohm=1000.0,
        converter_nv=0.0, range_mv=1.0, rate_hz=2.0, kelvin=300.0,
    )  # fmt: skip
    assert budget_of(kilohm).bridge_n * kilohm.nv_per_n == pytest.approx(4.07, abs=0.005)
    four_times = budget_of(Parts(**{**_fields(kilohm), "rate_hz": 8.0})).bridge_n
    assert four_times == pytest.approx(2.0 * budget_of(kilohm).bridge_n)
    assert sqrt(4.0) == 2.0


def test_signal_and_steps_follow_from_the_cells_and_the_converters_figures():
    """Worked by hand: 2 mV/V · 4.3 V / 500 N = 17.2 µV/N; 16.8 mV / 2²³ = 2.003 nV a count."""
    assert PARTS.nv_per_n == pytest.approx(17_200.0)
    assert PARTS.nv_per_count == pytest.approx(2.00272, abs=1e-5)
    assert budget_of(PARTS).steps_n == pytest.approx(2.00272 / 12**0.5 / 17_200.0, rel=1e-4)
    assert budget_of(PARTS).converter_n == pytest.approx(400.0 / 17_200.0)


def test_the_sum_is_what_a_bridge_simulated_in_volts_gives():
    """No formula of the budget is used: white noise, averaged over a conversion, in steps."""
    rng = np.random.default_rng(4)
    parts = Parts(**{**_fields(PARTS), "converter_nv": 12.0, "bridge_ohm": 1000.0})
    fine_hz, n = 8000.0, 4000
    per = round(fine_hz / parts.rate_hz)
    density_nv = 4.07 * np.sqrt(parts.kelvin / 300.0)  # of 1 kΩ, per √Hz
    fine = density_nv * np.sqrt(fine_hz / 2.0) * rng.standard_normal(n * per)
    volts = fine.reshape(n, per).mean(axis=1) + 12.0 * rng.standard_normal(n)
    codes = np.rint(volts / parts.nv_per_count)
    assert codes.std() == pytest.approx(budget_of(parts).total_counts, rel=0.05)


@pytest.mark.parametrize(
    "wrong", [{"rated_n": 0.0}, {"excitation_v": -1.0}, {"range_mv": float("nan")}]
)
def test_parts_that_cannot_be_are_refused(wrong):
    with pytest.raises(UsageError, match="must be above 0"):
        Parts(**{**_fields(PARTS), **wrong})
    with pytest.raises(UsageError, match="below 0"):
        Parts(**{**_fields(PARTS), "converter_nv": -1.0})


def _fields(parts: Parts) -> dict[str, float]:
    from dataclasses import asdict

    return asdict(parts)
