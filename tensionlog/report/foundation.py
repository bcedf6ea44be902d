"""What the numbers rest on, said in sentences a stringer can check."""

from collections.abc import Iterator

from tensionlog.report.basis import Basis, basis_info
from tensionlog.report.markup import Markup, facts, section, tag
from tensionlog.report.rounding import ABSENT, Reader, fixed, millimetres
from tensionlog.report.view import JobView
from tensionlog.report.words import FAULT_WORDS, plural

CANNOT_KNOW = "cannot be known: the device’s plain lines carry no count"


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


def dead_band_text(basis: Basis, reader: Reader) -> str:
    """The loss that no release can show, as force and as string."""
    if basis.dead_band_n is None:
        return ABSENT
    force = reader.amount(basis.dead_band_n)
    if basis.dead_band_mm is None:
        return f"{force} (stiffness or spans not known: no millimetres)"
    return f"{force}, or {millimetres(basis.dead_band_mm)} of a main"


def relaxation_text(basis: Basis) -> str:
    """Loss per decade of time, where this head shows it."""
    if basis.relaxation_pct is None:
        return "not found (only a lockout head shows it)"
    tau = "" if basis.tau_s is None else f", from {fixed(basis.tau_s, 2)} s"
    return f"{fixed(basis.relaxation_pct, 1)} % per decade of time{tau}"


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


def lost_text(basis: Basis) -> str:
    """How many readings never arrived, or that nobody can know."""
    if basis.missing is None:
        return CANNOT_KNOW
    if not basis.missing:
        return "none"
    share = f" ({basis.missing_pct:.2g} %)" if basis.missing_pct is not None else ""
    return f"{basis.missing}{share}; nothing was filled in"


def faults_text(basis: Basis) -> str:
    """The device's own faults in words, with how often each came."""
    if not basis.faults:
        return "none"
    return "; ".join(f"{FAULT_WORDS.get(name, name)}: {n}" for name, n in basis.faults.items())


def _scale_facts(basis: Basis) -> Iterator[tuple[str, str]]:
    yield "Calibration", calibration_text(basis)
    check = basis.last_check
    if check is None:
        yield "Last check", "none on record"
        return
    age = (
        "the same day" if check.age_days < 1 else f"{plural(int(check.age_days), 'day')} before"
    )
    yield "Last check", f"{check.on} ({age}): {check.verdict}"
    if check.span_error_pct is not None:
        pm = "" if check.u_span_error_pct is None else f" ± {check.u_span_error_pct:.2g}"
        yield "Span error found then", f"{fixed(check.span_error_pct, 2)}{pm} %"


def calibration_text(basis: Basis) -> str:
    """Name and date of the calibration in force."""
    if basis.calibration_name is None:
        return "none in this recording"
    name = basis.calibration_name or "without a name"
    return f"{name}, {basis.calibration_date or 'date not recorded'}"


def uncertainty_sentences(basis: Basis, reader: Reader) -> Iterator[str]:
    """Say what every ± holds, and what it leaves out."""
    yield (
        "Every ± is one standard uncertainty: about two readings in three lie within it. "
        "Digits stop where it does."
    )
    own = ""
    if basis.typical_u is not None:
        own = f" (typically {reader.amount(basis.typical_u, basis.typical_u)})"
    if reader.unit == "counts":
        yield f"That of a reading holds its noise and its zero{own}; there is no calibration."
    elif basis.u_calibration_pct is None:
        yield (
            f"That of a reading and a loss holds noise and zero{own}. The calibration’s own "
            "uncertainty is not known and not in it."
        )
    else:
        yield (
            f"That of a reading and a loss holds noise and zero{own} and the calibration’s "
            f"{basis.u_calibration_pct:.2g} %. The calibration’s part is the same for all "
            "pulls, so pulls compare with each other more sharply than with the order."
        )
    yield "That of a step holds noise and the fit alone: the calibration hardly matters there."


def blind_sentence(basis: Basis, reader: Reader) -> str:
    """Say what a release cannot show."""
    said = "Friction round the frame hides small losses: "
    if basis.dead_band_n is None:
        return said + "a release shows nothing of a loss inside the dead band."
    return said + (
        f"a held main that lost less than {reader.amount(basis.dead_band_n)} shows no step, "
        "and what is printed as lost is a lower bound."
    )
