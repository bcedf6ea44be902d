"""What the numbers rest on, said in sentences a stringer can check."""

from collections.abc import Iterator

from tensionlog.report.basis import Basis, basis_info
from tensionlog.report.markup import Markup, facts, section, tag
from tensionlog.report.rounding import Reader, fixed
from tensionlog.report.says import (
    blind_sentence,
    calibration_text,
    dead_band_text,
    faults_text,
    lost_text,
    relaxation_text,
    uncertainty_sentences,
)
from tensionlog.report.view import JobView
from tensionlog.report.words import plural


def foundation_section(view: JobView) -> Markup:
    """Write dead band, friction, calibration, line and uncertainty."""
    basis = basis_info(view)
    return section(
        "What the numbers rest on",
        facts((*_clamp_facts(basis, view.reader), *_line_facts(basis), *_scale_facts(basis))),
        *(tag("p", line) for line in uncertainty_sentences(basis, view.reader)),
        tag("p", blind_sentence(basis, view.reader)),
    )


def _clamp_facts(basis: Basis, reader: Reader) -> Iterator[tuple[str, str]]:
    known = "measured on this bench" if basis.phi_measured else "assumed, not measured"
    yield "Passes round the frame (φ)", f"at most {basis.phi_max:.2f}, {known}"
    yield "Dead band", dead_band_text(basis, reader)
    yield "Releases that could show 1 mm", f"{basis.could_show_1mm} of {basis.releases}"
    yield "Relaxation found", relaxation_text(basis)


def _line_facts(basis: Basis) -> Iterator[tuple[str, str]]:
    yield (
        "Readings",
        f"{basis.samples:,} in {basis.seconds / 60:.1f} min".replace(",", "\u202f"),
    )
    yield "Lost on the line", lost_text(basis)
    yield "Damaged lines", str(basis.bad_lines)
    if basis.duplicates:
        yield "Came twice, left out", str(basis.duplicates)
    restarts = basis.restarts
    yield "Device restarts", "cannot be known" if restarts is None else str(restarts)
    yield "Faults the device told", faults_text(basis)


def _scale_facts(basis: Basis) -> Iterator[tuple[str, str]]:
    yield "Calibration", calibration_text(basis)
    check = basis.last_check
    if check is None:
        yield "Last check", "none on record"
        return
    days = int(check.age_days)
    age = f"{plural(days, 'day')} before" if days else "less than a day before"
    yield "Last check", f"{check.on} ({age}): {check.verdict}"
    if check.span_error_pct is not None:
        pm = "" if check.u_span_error_pct is None else f" ± {check.u_span_error_pct:.2g}"
        yield "Span error found then", f"{fixed(check.span_error_pct, 2)}{pm} %"
