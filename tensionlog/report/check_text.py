"""A check in a terminal: the verdict in one line, then what it rests on."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from tensionlog.report.rounding import MINUS, NBSP
from tensionlog.report.words import plural

Answer = Mapping[str, Any]

VERDICT_WORDS: Final = {
    "good": "GOOD",
    "adjust": "ADJUST",
    "stop": "STOP",
}

VERDICT_SAYS: Final = {
    "good": "every load within tolerance, its uncertainty counted against it: start.",
    "adjust": "a load is, or may be, outside its tolerance: calibrate before the readings "
    "are relied on.",
    "stop": "the cell is off by more than three tolerances: do not string by it.",
}


def verdict_line(check: Answer) -> str:
    """Today's verdict in one line."""
    verdict = check.get("verdict")
    if verdict is None:
        return f"NO VERDICT: {check.get('problem') or 'nothing was hung'}"
    return f"{VERDICT_WORDS[verdict]}: {VERDICT_SAYS[verdict]}"


def span_text(check: Answer) -> str | None:
    """The span error with its doubt, or None where it is not known."""
    error, u = check.get("span_error_pct"), check.get("u_span_error_pct")
    if error is None or u is None:
        return None
    way = "high" if error > 0 else "low"
    return f"reads {abs(error):.3f} % {way} ± {u:.3f} %"


def check_text(answer: Answer) -> str:
    """Everything a check found, in plain lines."""
    return "".join(f"{_plain(line)}\n" for line in _lines(answer))


def _lines(answer: Answer) -> Iterator[str]:
    check = answer.get("check")
    calibration = answer.get("calibration")
    if calibration is not None:
        yield from _calibration_lines(calibration)
    if check is not None and (calibration is None or check.get("verdict") is not None):
        yield verdict_line(check)
        yield from _cell_lines(check)
    yield from _head_lines(answer.get("head") or [])
    for hold in answer.get("holds") or []:
        yield _hold_line(hold)
    if (turn := answer.get("turn")) is not None:
        still, tapped = _share(turn, "phi_rest"), _share(turn, "phi_tapped")
        yield f"Turn test: {still} at rest, {tapped} tapped"
    if (moved := answer.get("stiffness")) is not None and moved.get("EA_N") is not None:
        yield f"Stiffness: EA {moved['EA_N']:.0f} ± {moved['u_EA_N']:.0f} N"
    yield from (f"Note: {problem}" for problem in answer.get("problems") or [])


def _calibration_lines(made: Answer) -> Iterator[str]:
    low, high = made["fit"]["range_N"]
    degree = len(made["fit"]["coefficients"]) - 1
    yield (
        f"Calibration {made['name']}: {made['loads']} loads, {made['runs']} runs, "
        f"{low:.0f} to {high:.0f} N, {'a line' if degree == 1 else 'a quadratic'}"
    )
    yield (
        f"  lower limit factor {made['lower_limit_factor_N']:.3f} N, "
        f"interpolation {made['interpolation_pct']:.3f} %"
    )


def _cell_lines(check: Answer) -> Iterator[str]:
    span = span_text(check)
    if span is not None:
        yield f"Cell: {span}; empty {check['zero_N']:.2f} N"
    for point in check.get("points", []):
        if point.get("error_N") is not None:
            yield (
                f"  {point['load']:>8} {point['direction']:<4} {point['reference_N']:9.2f} N"
                f"  error {point['error_N']:+.3f} ± {point['u_N']:.3f} N"
            )
    yield from (f"Note: {warning}" for warning in check.get("warnings", []))


def _head_lines(head: list[Answer]) -> Iterator[str]:
    for pull in head:
        off = 100 * (pull["peak_N"] / pull["set_N"] - 1) if pull["peak_N"] else None
        said = "no reading" if off is None else f"{pull['peak_N']:.1f} N, {off:+.1f} %"
        speed = f" ({pull['speed']})" if pull.get("speed") else ""
        yield f"Head: dial {pull['set_N']:.0f} N{speed} pulls {said}"
    if head:
        yield f"      {plural(len(head), 'pull')}"


def _hold_line(hold: Answer) -> str:
    lost = hold.get("hand_off_loss_N")
    said = "no reading" if lost is None else f"lost {lost:.2f} N at the hand-off"
    give = hold.get("give_mm")
    more = "" if give is None else f", gave {give:.2f} ± {hold['u_give_mm']:.2f} mm"
    return f"Clamp {hold['clamp']}: {hold.get('verdict') or 'no verdict'}, {said}{more}"


def _share(turn: Answer, key: str) -> str:
    return "unknown" if turn.get(key) is None else f"{turn[key]:.2f} passes"


def _plain(text: str) -> str:
    return text.replace(MINUS, "-").replace(NBSP, " ")
