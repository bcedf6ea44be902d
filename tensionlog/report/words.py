"""Plain words for what the numbers carry as codes."""

from typing import Final

FLAG_WORDS: Final = {
    "early-clamp": "clamp shut before the string had settled",
    "no-release": "nothing was held behind it, so no release to look for",
    "interrupted": "the reading was interrupted",
    "gripper-slip": "the string slipped in the gripper",
    "straightened": "the string was straightened during the hold",
    "worked-twice": "the head was worked twice",
    "not-measurable": "the step cannot be measured at this sample rate",
    "beyond-plan": "beyond the planned strings",
}
"""One text for every flag of `model.pull.FLAGS`."""

STATE_WORDS: Final = {
    "within": "within",
    "off": "a little off",
    "look": "to look at",
    "unjudged": "not judged",
    "void": "redone",
    "superseded": "pulled again",
}
"""One word for every state that `rows` gives a pull."""

HEAD_WORDS: Final = {
    "lockout": "lockout",
    "constant-pull": "constant pull",
    "drop-weight": "drop weight",
}

FAULT_WORDS: Final = {
    "saturated": "reading at the end of the converter’s range",
    "not-ready": "converter not ready",
    "no-bridge": "no load cell found",
    "brown-out": "supply voltage too low",
    "stuck": "converter repeats its last code",
}

LOOK_FLAGS: Final = ("gripper-slip", "interrupted")
"""Flags after which the reading itself is in doubt."""

NOT_EVIDENCE: Final = ("straightened", "not-measurable", "interrupted", "gripper-slip")
"""Flags after which a release says nothing about the clamp."""


def flag_words(flag: str) -> str:
    """Say a flag in words; one that this version does not know keeps its own."""
    return FLAG_WORDS.get(flag, flag)


def plural(number: int, one: str, many: str | None = None) -> str:
    """Count something.

    >>> plural(1, "pull"), plural(3, "pull"), plural(2, "loss", "losses")
    ('1 pull', '3 pulls', '2 losses')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(names: list[str], limit: int = 8) -> str:
    """Join names, and say how many are not named.

    >>> listed(["R5", "X12"]), listed(list("abcd"), 3)
    ('R5, X12', 'a, b, c and 1 more')
    """
    shown = ", ".join(names[:limit])
    rest = len(names) - limit
    return shown if rest <= 0 else f"{shown} and {rest} more"
