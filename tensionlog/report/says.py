"""Sentences that page and terminal share; each says one result in plain words."""

from collections.abc import Iterator

from tensionlog.report.basis import Basis
from tensionlog.report.rounding import ABSENT, NBSP, Reader, fixed, millimetres
from tensionlog.report.spread import ClampEvidence, Redone, Spread
from tensionlog.report.words import FAULT_WORDS, plural

CANNOT_KNOW = "cannot be known: the device’s plain lines carry no count"


def side_sentence(spread: Spread, reader: Reader) -> str:
    """Say whether the two sides of the mains differ by more than their scatter."""
    difference, u = spread.side_difference, spread.side_u
    if difference is None or u is None:
        return "Not enough mains on both sides to compare them."
    size = reader.full(abs(difference), u)
    if abs(difference) <= 2.0 * u:
        return (
            f"The sides cannot be told apart: the means of their {spread.of} differ by {size}."
        )
    more = "left" if difference > 0 else "right"
    return f"The mean {spread.of} of the {more} mains is higher by {size}."


def clamp_sentence(clamp: ClampEvidence) -> str:
    """Say what the releases told about one clamp."""
    said = (
        f"Clamp {clamp.clamp}: a step at {clamp.seen} of {plural(clamp.releases, 'main')} "
        f"(95{NBSP}% interval {100 * clamp.low:.0f} to {100 * clamp.high:.0f}{NBSP}%)"
    )
    if clamp.most_give_mm is None:
        return said + "."
    return f"{said}; most given, at least {millimetres(clamp.most_give_mm)} on {clamp.at}."


def redone_text(again: Redone, reader: Reader) -> str:
    """Say what a void pull read and what stands in its place."""
    given = f"read {reader.amount(again.release)}" if again.release else "gave no reading"
    read = f"{again.name} (pull {again.number}) {given}"
    if again.stood_number is None:
        return f"{read}; nothing stands in its place."
    stood = "no reading" if again.stood_release is None else reader.amount(again.stood_release)
    return f"{read}; pull {again.stood_number} stands with {stood}."


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


def calibration_text(basis: Basis) -> str:
    """Name and date of the calibration in force."""
    if basis.calibration_name is None and basis.plain:
        return "the device’s own; its lines carry forces, and nothing here can check them"
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
    else:
        known = "assumed, since no check is on record" if basis.scale_u_assumed else "checked"
        yield (
            f"That of a reading and a loss holds noise and zero{own} and the scale’s "
            f"{basis.scale_u_pct:.2g} % ({known}). The scale’s part is the same for all "
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
