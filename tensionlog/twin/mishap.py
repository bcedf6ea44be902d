"""What may be ordered to go wrong, or merely otherwise, at a position."""

from dataclasses import replace

from tensionlog.twin.head import Hand

MISHAPS = {
    "redo": "pulled too low, taken back with `redo`, pulled again",
    "undo": "pulled, taken back with `undo`, pulled again",
    "lift-off": "pulled again with its clamp still shut, to read what it holds",
    "swap": "pulled after its successor, with `place` notes",
    "wrong-clamp": "a cross taken by the other clamp, with a `clamp` note",
    "no-release": "the clamp behind is opened only after the head has let off",
    "broke": "the string breaks in the hold; the job begins again",
    "grip-slip": "the gripper slips in the rise",
    "hold-slip": "the gripper slips in the hold",
    "early": "clamped before the reading has settled",
    "again": "cranked twice, or the bar lifted again",
    "boost": "pulled ten per cent harder, as for a knot",
    "extra": "at `end`: one more pull that nobody planned",
}


def mishandled(hand: Hand, mishap: str | None) -> Hand:
    """The same hand with what goes wrong in this pull."""
    match mishap:
        case "redo":
            return replace(hand, set_n=0.9 * hand.set_n)
        case "grip-slip":
            return replace(hand, grip_slip=0.3, slip_in_hold=False)
        case "hold-slip":
            return replace(hand, grip_slip=0.1, slip_in_hold=True)
        case "early":
            return replace(hand, dwell_s=0.2, after_s=0.3, again_s=None, straighten_at_s=None)
        case "again":
            return replace(hand, again_s=0.4, dwell_s=max(1.2, hand.dwell_s), lifts=2)
        case "boost" | "extra":
            return replace(hand, set_n=1.1 * hand.set_n)
    return hand
