"""What the numbers rest on."""

from dataclasses import replace

import pytest

from tensionlog.model.sitting import Ledger
from tensionlog.report.basis import basis_info


def test_the_dead_band_is_what_friction_keeps_back(make):
    job = make.job(ea_mains_n=2000.0, spans_m={"L1": 0.2, "R1": 0.2})
    found = (make.bare(1, top=100.0), make.bare(2, "R1", top=100.0), make.bare(3, "X1", top=7))
    basis = basis_info(make.view(job=job, found=found, run=make.run(phi_max=0.95)))
    assert basis.dead_band_n == pytest.approx(5.0)
    assert basis.dead_band_mm == pytest.approx(0.5)  # 5 N · 0.2 m / 2000 N


def test_without_stiffness_or_spans_there_are_newtons_and_no_millimetres(make):
    for change in ({"ea_mains_n": None}, {"spans_m": {}}):
        basis = basis_info(make.view(job=make.job(**change)))
        assert basis.dead_band_n > 0
        assert basis.dead_band_mm is None


def test_without_a_calibration_there_is_no_dead_band_in_newtons(make):
    assert basis_info(make.uncalibrated()).dead_band_n is None


def test_lost_readings_are_a_share_of_all_that_were_taken(make):
    basis = basis_info(make.view(ledger=Ledger(samples=990, missing=10)))
    assert basis.missing_pct == pytest.approx(1.0)


@pytest.mark.parametrize("ledger", [Ledger(samples=990, missing=None), Ledger()])
def test_what_cannot_be_known_has_no_share(make, ledger):
    assert basis_info(make.view(ledger=ledger)).missing_pct is None


def test_name_and_date_are_those_of_the_calibration_in_force(badminton):
    basis = basis_info(badminton)
    assert (basis.calibration_name, basis.calibration_date) == ("spring 3", "2026-02-11")
    header = replace(badminton.header, calibration=None)
    assert basis_info(replace(badminton, header=header)).calibration_name is None


def test_relaxation_is_in_per_cent_and_absent_where_not_found(make):
    assert basis_info(make.view()).relaxation_pct == pytest.approx(4.5)
    assert basis_info(make.view(run=make.run(relaxation=None))).relaxation_pct is None
