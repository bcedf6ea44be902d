"""A finding in the words of the trade: what is seen, what it means, what to do next."""

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np

from tensionlog.clamps.causes import Explained, Finding, untested
from tensionlog.clamps.shifts import Shift, kind_of

NAMES: Mapping[str, str] = {
    "zero": "the cell's zero",
    "span": "the cell against its masses",
    "head": "the head against its dial",
    "relaxation": "the string's own relaxation",
    "a-minus-b": "clamp A less clamp B inside jobs",
    "early": "clamps opened too early",
    "reference": "one mass against the others",
    "batch": "the relaxation of the string strung most",
}

MEANS: Mapping[str, str] = {
    "both-clamps": "Both clamps give more than they did.",
    "cell-zero": "The cell's zero has moved.",
    "cell-span": "The cell reads another force than it did under the same masses.",
    "head-dial": "The head pulls another force at the same dial.",
    "string": "The string is another: a softer or stiffer batch.",
    "technique": "The clamps are worked otherwise than before.",
    "reference": "The masses no longer agree among themselves.",
    "cannot-tell": "Something has moved, but what was measured fits two causes.",
}

DO: Mapping[str, str] = {
    "clamp": (
        "Clean the jaws of clamp {clamp} (alcohol and a stiff brush; no flame, let it dry), "
        "set the pressure for the gauge, check the base lock, hold-test it again. If it is no "
        "better, re-face or replace it; until then do not string customers' frames with it."
    ),
    "both-clamps": (
        "Hold-test both on the control reel kept for tests only. If both still give more, "
        "clean and set both, then test again."
    ),
    "cell-zero": "Look at gripper, hook and cable, take the zero in place, check again.",
    "cell-span": (
        "Hang a second, independent mass. If it is off by the same per cent, calibrate the "
        "cell; until then no dial advice and no promises in newtons."
    ),
    "head-dial": (
        "Pull once slowly and once fast with the bar level, then make a new dial table; "
        "until then dial by the cell."
    ),
    "string": (
        "Test on a fresh piece of the control reel. Note the reel of this batch, measure its "
        "stiffness, and tell customers who order it again."
    ),
    "technique": "Wait for the head to settle before the clamp is opened; compare operators.",
    "reference": "Clean the masses, look at the hanger, weigh the plates, check the typed g.",
}

APART: Mapping[frozenset[str], str] = {
    frozenset({"cell-span", "reference"}): (
        "hang a second independent mass: both off by the same per cent is the cell"
    ),
    frozenset({"cell-span", "head-dial"}): "hang the masses: only they part cell and head",
    frozenset({"both-clamps", "string"}): (
        "test on the control reel, and let one piece stand for 20 s with no clamp shut"
    ),
    frozenset({"cell-zero", "cell-span"}): "look at the idle gaps of the next job",
    frozenset({"head-dial", "string"}): "read at the peak; one slow and one fast pull",
}


def evidence_of(finding: Finding) -> tuple[str, ...]:
    """What the finding rests on, one sentence each, with the numbers."""
    best = finding.best
    day = datetime.fromtimestamp(best.since.at_s, UTC).date().isoformat()
    how = "at once" if best.since.shape == "step" else "day by day"
    lines = [f"Since {day}, {how}:"]
    lines += [_sentence(name, best.shifts[name], moved=True) for name in best.moved]
    lines += [
        _sentence(name, shift, moved=False)
        for name, shift in sorted(best.shifts.items())
        if name not in best.moved
    ]
    return tuple(lines)


def _sentence(name: str, shift: Shift, *, moved: bool) -> str:
    called = named(name)
    if not np.isfinite(shift.u):
        return f"{called}: not measured since, or no baseline before"
    kind = kind_of(name)
    size = f"{shift.size:+.{kind.digits}f} ± {2.0 * shift.u:.{kind.digits}f} {kind.unit}"
    tests = f"{shift.n_after} test" + ("s" if shift.n_after != 1 else "")
    kept = "" if moved or abs(shift.size) > 2.0 * shift.u else ", no shift"
    return f"{called}: {size} over {tests}, from {shift.level:.{kind.digits}f}{kept}"


def named(name: str) -> str:
    """A series as people call it.

    >>> named("give-B")
    'give of clamp B'
    """
    if name.startswith("give-"):
        return "give of clamp " + name.removeprefix("give-")
    return NAMES[name]


def text_of(finding: Finding) -> str:
    """What has happened, in one or two sentences."""
    if finding.cause.startswith("clamp-"):
        clamp = finding.cause.removeprefix("clamp-")
        shift = finding.best.shifts[f"give-{clamp}"]
        return (
            f"Clamp {clamp} gives {shift.size:+.2f} ± {2.0 * shift.u:.2f} mm more than before."
        )
    text = MEANS[finding.cause]
    if finding.cause == "cannot-tell":
        return f"{text} {_two(finding)}"
    return text


def _two(finding: Finding) -> str:
    other = finding.runner_up.cause if finding.runner_up else "nothing else"
    return f"It looks most like {finding.best.cause}, then {other}."


def do_of(finding: Finding) -> str:
    """What to do next."""
    if finding.cause == "cannot-tell":
        return f"To tell: {apart(finding)}."
    if finding.cause.startswith("clamp-"):
        return DO["clamp"].format(clamp=finding.cause.removeprefix("clamp-"))
    return DO[finding.cause]


def apart(finding: Finding) -> str:
    """The cheap test that separates the best cause from the runner-up."""
    lacking = untested(finding.best)
    if lacking:
        return _measure(finding.best, lacking[0])
    pair = {finding.best.cause, finding.runner_up.cause if finding.runner_up else ""}
    if any(cause.startswith("clamp-") for cause in pair):
        return "hold-test each clamp three times on the control reel, one after the other"
    return APART.get(frozenset(pair), "make the morning check and both hold tests again")


def _measure(best: Explained, name: str) -> str:
    if name.startswith("give-"):
        return f"hold-test clamp {name.removeprefix('give-')} too: it was not tested since"
    if name == "span":
        return "hang the masses: the cell was not checked since"
    return "hold-test on the control reel: its own relaxation is not known since"
