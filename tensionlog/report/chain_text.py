"""The chain from a pull to the masses, in plain lines."""

from collections.abc import Iterator, Mapping
from typing import Any

from tensionlog.report.check_text import span_text

Answer = Mapping[str, Any]

PART_WORDS = {
    "reading": "noise and zero of this reading",
    "cell": "the cell, from its check: span, bow, and what lies beyond the heaviest load",
}


def chain_lines(chain: Answer) -> Iterator[str]:
    """Print-ready lines, from the pull down to the reference."""
    name = chain["position"] or f"pull {chain['pull']}"
    if chain["force_N"] is None:
        yield f"{name} in {chain['recording']}: counts only, no calibration"
        return
    u = "" if chain["u_N"] is None else f" ± {chain['u_N']:.2f} N (one standard uncertainty)"
    yield f"{name} in {chain['recording']}: {chain['force_N']:.2f} N{u}"
    for part, size in chain["parts_N"].items():
        yield f"    {size:.3f} N  {PART_WORDS.get(part, part)}"
    if chain["off_N"] is not None:
        yield f"    the check found {chain['off_N']:+.2f} N at this force; it is not taken off"
    yield from _calibration(chain["calibration"])
    yield from _check(chain["check"])
    yield from _reference(chain["reference"])


def _calibration(calibration: Answer | None) -> Iterator[str]:
    if calibration is None:
        yield "Calibration: none"
        return
    name = calibration["name"] or "without a name"
    made = f", made {calibration['date']}" if calibration["date"] else ""
    if calibration["kind"] is None:
        yield f"Calibration: {name}{made}; typed into the set-up, no record of how it was found"
        return
    yield f"Calibration: {name}{made}, from the sitting of {calibration['made'][:16]}"
    record = calibration["record"]
    if record is not None:
        low, high = record["fit"]["range_N"]
        yield (
            f"    {record['loads']} loads, {record['runs']} runs, {low:.0f} to {high:.0f} N, "
            f"lower limit factor {record['lower_limit_factor_N']:.3f} N"
        )


def _check(check: Answer | None) -> Iterator[str]:
    if check is None:
        yield "Check: none before this sitting, so the force has no uncertainty"
        return
    verdict = check["verdict"] or "no verdict"
    yield f"Check: {check['started'][:16]}, {verdict}; {span_text(check)}"
    for point in check["points"] or ():
        if point.get("error_N") is not None:
            yield (
                f"    {point['load']} = {point['reference_N']:.3f} N: "
                f"{point['error_N']:+.3f} ± {point['u_N']:.3f} N"
            )


def _reference(made_with: Answer | None) -> Iterator[str]:
    if made_with is None:
        return
    if made_with.get("reference") == "scale":
        u = made_with.get("u_scale_pct")
        yield f"Reference: a scale in line, certificate {_or_none(u, '% standard')}"
        return
    masses = made_with.get("masses_kg") or []
    pieces = ", ".join(f"{kg:g}" for kg in (masses if isinstance(masses, list) else [masses]))
    yield f"Reference: masses of {pieces} kg, {_tolerance(made_with)}; {_gravity(made_with)}"


def _tolerance(made_with: Answer) -> str:
    if made_with.get("mass_class"):
        return f"class {made_with['mass_class']} (OIML R 111)"
    if made_with.get("u_mass_pct") is not None:
        return f"weighed, ± {made_with['u_mass_pct']:g} % standard"
    return "taken as exact: nobody said otherwise"


def _gravity(made_with: Answer) -> str:
    if made_with.get("gravity") is not None:
        return f"free fall {made_with['gravity']:g} m/s² as set"
    if made_with.get("latitude_deg") is not None:
        height = made_with.get("height_m") or 0
        return f"free fall by latitude {made_with['latitude_deg']:g}° and {height:g} m"
    return "standard free fall, 0.15 % of doubt"


def _or_none(value: object, unit: str) -> str:
    return "taken as exact: nobody said otherwise" if value is None else f"± {value} {unit}"
