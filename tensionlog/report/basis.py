"""What the numbers rest on: dead band, friction, the line's losses, the calibration."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tensionlog.report.rows import rows, standing
from tensionlog.report.view import JobView, LastCheck


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """The numbers behind the numbers.

    Attributes:
        phi_max: Share of a pull that passes round the frame, at most.
        phi_measured: Whether it was measured on this bench.
        dead_band_n: Loss of a held main that no release can show, newtons.
        dead_band_mm: The same as millimetres of a middling main.
        could_show_1mm: Releases that could have shown a give of 1 mm.
        releases: Releases looked at.
        relaxation_pct: Loss per decade of time found for this job, per cent.
        tau_s: Its origin, seconds.
        samples: Valid samples of the recording.
        seconds: Its length on the device clock.
        bad_lines: Lines that were not sound.
        missing: Conversions that never arrived; None where it cannot be known.
        missing_pct: The same of all conversions, per cent.
        restarts: Restarts of the device; None where it cannot be known.
        duplicates: Samples that came twice.
        faults: Name of a fault to how often it was reported.
        calibration_name: What the bench calls it, or None without one.
        calibration_date: When it was made, or None.
        scale_u_pct: Standard uncertainty of the scale that is in every u, per cent.
        scale_u_assumed: Whether that is assumed, since nobody knows it.
        typical_u: Median of one reading's u from noise and zero alone, or None.
        last_check: The morning check in force, or None.
        plain: Whether the device spoke plain lines, which carry forces of their own scale.
        rules: Rules that made the numbers.
    """

    phi_max: float
    phi_measured: bool
    dead_band_n: float | None
    dead_band_mm: float | None
    could_show_1mm: int
    releases: int
    relaxation_pct: float | None
    tau_s: float | None
    samples: int
    seconds: float
    bad_lines: int
    missing: int | None
    missing_pct: float | None
    restarts: int | None
    duplicates: int
    faults: Mapping[str, int]
    calibration_name: str | None
    calibration_date: str | None
    scale_u_pct: float
    scale_u_assumed: bool
    typical_u: float | None
    last_check: LastCheck | None
    plain: bool
    rules: tuple[str, ...]


def basis_info(view: JobView) -> Basis:
    """Collect what the report's numbers rest on."""
    run, ledger, calibration = view.run, view.ledger, view.header.calibration
    dead_n, dead_mm = _dead_band(view)
    return Basis(
        phi_max=run.phi_max,
        phi_measured=run.phi_measured,
        dead_band_n=dead_n,
        dead_band_mm=dead_mm,
        could_show_1mm=run.could_show_1mm,
        releases=run.releases,
        relaxation_pct=None if run.relaxation is None else 100.0 * run.relaxation,
        tau_s=run.tau_s,
        samples=ledger.samples,
        seconds=ledger.seconds,
        bad_lines=ledger.bad_lines,
        missing=ledger.missing,
        missing_pct=_missing_pct(ledger.samples, ledger.missing),
        restarts=ledger.restarts,
        duplicates=ledger.duplicates,
        faults=dict(ledger.faults),
        calibration_name=calibration.name if calibration else None,
        calibration_date=calibration.date if calibration else None,
        scale_u_pct=view.scale_u_pct,
        scale_u_assumed=view.u_calibration_pct is None,
        typical_u=_typical_u(view),
        last_check=view.last_check,
        plain=view.header.is_plain,
        rules=tuple(sorted({found.rule for found in view.pulls})),
    )


def _missing_pct(samples: int, missing: int | None) -> float | None:
    if missing is None or samples + missing == 0:
        return None
    return 100.0 * missing / (samples + missing)


def _typical_u(view: JobView) -> float | None:
    known = [r.pull.release_u for r in standing(rows(view)) if r.pull.release_u is not None]
    return float(np.median(known)) if known else None


def _dead_band(view: JobView) -> tuple[float | None, float | None]:
    """Of the mains: (1 − φ) times their median settled pull; millimetres by span / EA."""
    mains = [r for r in standing(rows(view)) if r.kind == "main" and r.pull.top is not None]
    if not mains or not view.is_calibrated:
        return None, None
    tops = [r.pull.top for r in mains if r.pull.top is not None]
    band_n = (1.0 - view.run.phi_max) * float(np.median(tops))
    spans_m = [view.job.spans_m[r.name] for r in mains if r.name in view.job.spans_m]
    if not spans_m or not view.job.ea_mains_n:
        return band_n, None
    return band_n, 1000.0 * band_n * float(np.median(spans_m)) / view.job.ea_mains_n
