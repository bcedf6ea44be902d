"""Plain words and sounds for what a guide says; a terminal and a page share them.

Each ask has one word for a glance across the room and one sentence for whoever reads.
"""

from collections.abc import Mapping
from typing import Any, Final

from tensionlog.model.guide import Ask, Done, Reading, Refused, Said, Took
from tensionlog.units import from_newtons

UNIT_WORDS: Final = {"N": "N", "lbf": "lb", "kgf": "kg", "counts": "counts"}

GLANCE: Final = {
    "zero": "EMPTY",
    "empty": "TAKE OFF",
    "hang": "HANG",
    "scale": "PULL",
    "warm-up": "WAIT",
    "mount": "MOUNT",
    "dial": "PULL",
    "let-off": "LET OFF",
    "hold-mount": "MOUNT",
    "hold-pull": "PULL",
    "hold-off": "LET OFF",
    "hold-watch": "WAIT",
    "hold-again": "PULL AGAIN",
    "hold-off-again": "LET OFF",
    "hold-last": "WAIT",
    "hold-open": "OPEN",
    "turn-tap": "TAP",
    "stiff-move": "TURN",
}
"""One word for each ask; where there is none the step's kind of end gives it."""

_GLANCE_BY_END: Final = {
    "steady": "WAIT",
    "pull": "PULL",
    "let-off": "LET OFF",
    "time": "WAIT",
    "key": "THEN KEY",
    "number": "TYPE",
}

SENTENCES: Final = {
    "zero": "Leave the cell empty, hands off.",
    "empty": "Take everything off the cell.",
    "hang": "Hang {mass}.",
    "warm-up": "Leave the empty cell alone while it warms up.",
    "scale": "Pull until the scale shows about {wanted}, hold still, type what it shows "
    "({scale_unit}).",
    "mount": "Hang the cell at the head with a scrap string in it, then hands off.",
    "dial": "Dial {dial} and pull, {speed}; hold.",
    "let-off": "Let the head off.",
    "hold-mount": "Cell to the anchor, clamp {name} between cell and head, then hands off.",
    "hold-pull": "Pull to {target}; hold.",
    "hold-off": "Shut clamp {clamp}, then let the head off.",
    "hold-watch": "Hands off: clamp {clamp} holds alone.",
    "hold-again": "Clamp stays shut: pull to {target} again and hold.",
    "hold-off-again": "Let the head off again.",
    "hold-last": "Hands off once more.",
    "hold-open": "Open clamp {clamp}.",
    "turn-mount": "String from the cell round one turn of a scrap frame to the head.",
    "turn-pull": "Dial {dial} and pull; hold.",
    "turn-still": "Hands off: the frame is still.",
    "turn-tap": "Tap the frame where the string bends, four or five times.",
    "stiff-mount": "Cell on the screw, string to the head, clamp {clamp} between.",
    "stiff-pull": "Pull to {target}; hold.",
    "stiff-still": "Hands off.",
    "stiff-move": "Turn the screw {turns} turns {way} ({moved_mm:+g} mm), hands off.",
}
"""One sentence for each ask."""

TOOK: Final = {
    "zero": "Empty: {value}",
    "empty": "Empty again: {value}",
    "hang": "{mass}: {value}",
    "scale": "Scale {given}: {value}",
    "mount": "At the head: steady.",
    "dial": "Dial {dial}: {value} at the peak",
    "warm": "Warm: moved by {moved} in {apart_s:.0f} s.",
    "warm-up-drifts": "Still drifting, {moved} in {apart_s:.0f} s: going on all the same.",
    "warm-up-cut": "Going on cold.",
    "let-off": "",
    "hold-mount": "Clamp {name} is ready.",
    "hold-pull": "Pulled: {value}",
    "hold-off": "Handed over.",
    "hold-watch": "",
    "hold-again": "",
    "hold-off-again": "Handed over again.",
    "hold-last": "",
    "hold-open": "Clamp {clamp} is done.",
    "turn-mount": "Ready.",
    "turn-pull": "Pulled: {value} pass the turn",
    "turn-still": "",
    "turn-tap": "",
    "stiff-mount": "Ready.",
    "stiff-pull": "Pulled: {value}",
    "stiff-still": "",
    "stiff-move": "Moved by {moved_mm:+g} mm.",
}
"""What is said when a step has been taken; empty where nothing need be said."""

REFUSED: Final = {
    "unsteady": "still swinging after half a minute: steady it, keep draughts off.",
    "odd-load": "reads {reads} where {wanted} were expected: hang the right one, or 'next' "
    "if it is.",
    "swapped": "the reading falls as the load rises: the signal wires are swapped. Swap them "
    "and begin again.",
    "unlikely": "the scale said {given}, the cell reads {reads}: is that the scale’s unit? "
    "Type it again if so.",
    "not-a-force": "{given} is no force.",
    "saturated": "the reading stands at the converter’s end: cell unplugged or overloaded.",
    "no-bridge": "no load cell found: look at its plug.",
    "not-ready": "the converter is not ready: look at its wiring.",
    "brown-out": "the supply voltage is too low: look at the USB cable.",
    "quiet": "nothing comes from the device: look at the cable.",
    "pull-too-low": "only {force} came of it, {wanted} were expected: pull again.",
    "let-off-early": "let off too early: pull again and hold.",
}
"""What is wrong, by key."""

DONE: Final = {
    "done": "Done.",
    "check-done": "The check is done.",
    "turn-done": "The turn test is done.",
    "stiff-done": "The stiffness test is done.",
    "calibration-done": "All loads are taken.",
    "broken-off": "Broken off after {steps} of {of} steps: kept, marked incomplete, "
    "nothing adopted.",
}

BELLS: Final = {"ask": 1, "took": 2, "refused": 3, "done": 4}
"""How often a terminal's bell rings for each kind of news."""

TONES: Final[Mapping[str, tuple[tuple[int, int], ...]]] = {
    "ask": ((660, 120),),
    "took": ((880, 120), (1320, 180)),
    "refused": ((220, 250), (220, 250), (220, 250)),
    "done": ((660, 120), (880, 120), (1320, 300)),
}
"""Tones of each kind of news for whoever can play them: (hertz, milliseconds)."""


def kind_of(said: Said) -> str | None:
    """Kind of news, a key of `BELLS`; None for a mere reading."""
    kinds = {Ask: "ask", Took: "took", Refused: "refused", Done: "done"}
    return kinds.get(type(said))


def glance(ask: Ask) -> str:
    """One word, large.

    >>> glance(Ask(step="load-1", words="hang", values={"mass_kg": 10.0}))
    'HANG'
    """
    return GLANCE.get(ask.words, _GLANCE_BY_END[ask.ends])


def sentence(said: Said, *, unit: str = "N") -> str:
    """One line in plain words.

    Args:
        said: What a guide said.
        unit: Unit of the reader's choice.

    >>> sentence(Ask(step="load-1", words="hang", values={"mass_kg": 10.0}))
    'Hang 10 kg.'
    """
    match said:
        case Ask():
            return _filled(SENTENCES, said.words, said.values, unit)
        case Took():
            read = amount(said.value, said.u, unit=unit if said.unit == "N" else "counts")
            return _filled(TOOK, said.words, {**said.values, "value": read}, unit)
        case Reading():
            shown = unit if said.unit == "N" else "counts"
            return f"{amount(said.value, None, unit=shown)} {said.state}"
        case Refused():
            return _filled(REFUSED, said.words, said.values, unit)
        case Done():
            return _filled(DONE, said.words, said.values, unit)


def amount(value: float | None, u: float | None, *, unit: str) -> str:
    """A force with its standard uncertainty.

    >>> amount(98.107, 0.012, unit="N")
    '98.107 ± 0.012 N'
    """
    if value is None:
        return ""
    name = UNIT_WORDS[unit]
    if unit != "counts":
        value = from_newtons(value, unit)
        u = None if u is None else from_newtons(u, unit)
    digits = 0 if unit == "counts" else 1 if u is None else 3 if u < 0.0355 else 2
    doubt = "" if u is None else f" ± {u:.{digits}f}"
    return f"{value:.{digits}f}{doubt} {name}"


def _filled(texts: Mapping[str, str], words: str, values: Mapping[str, Any], unit: str) -> str:
    """The text of a key, its names filled in; a key that nobody wrote stands for itself."""
    return texts.get(words, words).format_map(_Named(values, unit))


class _Named(dict[str, Any]):
    """Values by name: `force` gives `force_n` in the reader's unit, `mass` `mass_kg`."""

    def __init__(self, values: Mapping[str, Any], unit: str) -> None:
        super().__init__(values)
        self._unit = unit

    def __missing__(self, name: str) -> str:
        if self.get(f"{name}_n") is not None:
            return amount(self[f"{name}_n"], None, unit=self._unit)
        if self.get(f"{name}_kg") is not None:
            return f"{self[f'{name}_kg']:g} kg"
        return f"{{{name}}}"
