"""How a pull was made, as its trace shows it: slips, pushes, haste, a second crank.

A release is one quick fall. A string that slides through the gripper falls several
times, or farther than an empty span behind could take. A cross that is being
straightened is pushed up and comes back. A clamp shut in haste is shut before the top
has settled. Two cranks leave a landing on the way up, or a second rise to stay.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.disturbed import bridged, comes_back, hands_on, runs_of
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

EARLY_S = 0.75
"""A clamp shut sooner after the top than this is shut in haste: opening the clamp behind,
moving it and shutting it again takes a practised hand a second (common practice, no
source)."""

SLIP_SHARE = 0.025
"""Two lasting falls of at least this share of the level are not one release."""

FAR_SHARE = 0.28
"""One fall beyond this share is no release: an empty span behind takes at most
φ·L_b/(L₂ + φ·L_b) of the pull, about a quarter with a tail of the usual length."""

LEAST_SHARE, LEAST_TAU_S = 0.015, 0.2
"""The least that strings relax (plausibility band, from memory), taken out before pushes
are looked for: what ends lower than it began only because the string relaxed meanwhile
came back all the same. Taking out more than the string lost would hide releases."""

PUSH_SHARE = 0.006
"""A push by hand lifts the reading by at least this share of the level."""

AFTER_TRIP_S = 0.12
"""Spring-back and the converter's settling are over so long after the trip."""

LANDING_S = 0.2
"""A rise that stands still for this long on its way was worked twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Manners:
    """What the trace shows of the hand.

    Attributes:
        flags: Subset of `model.pull.FLAGS`.
        hands: Samples of the whole shape that a hand is in, shape (n,).
        risen_t: Device time from which a second crank's hold begins, or None.
    """

    flags: tuple[str, ...]
    hands: Mask
    risen_t: float | None


def manners_of(shape: Shape, *, relaxes: bool, steady: bool = False) -> Manners:
    """Look at the hold before its law is read.

    Args:
        shape: The pull with its landmarks.
        relaxes: Whether the head locks, so that nothing but a hand lifts the reading.
        steady: Whether a motor holds the reading within its dead band, so that only a
            hand lifts it far above.
    """
    begin = int(np.searchsorted(shape.t, shape.t[shape.crest] + AFTER_TRIP_S))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - shape.push_s, "right"))
    hands = np.zeros(len(shape.t), dtype=bool)
    t, y = shape.t[begin:stop], shape.y[begin:stop]
    flags = ["early-clamp"] if not shape.cut and shape.held_s < EARLY_S else []
    risen = None
    if relaxes and len(y) > 8:
        risen = _risen(t, y, shape)
        if risen is not None:
            begin = int(np.searchsorted(shape.t, risen + AFTER_TRIP_S))
            t, y = shape.t[begin:stop], shape.y[begin:stop]
    if relaxes and len(y) > 8:
        flat = y + shape.level * LEAST_SHARE * np.log10(1.0 + (t - t[0]) / LEAST_TAU_S)
        part = hands_on(flat, period=shape.period, noise=shape.noise, level=shape.level)
        hands[begin:stop] = part
        calm = bridged(y, part)
        if _pushes(t, y - calm, shape):
            flags.append("straightened")
        if _slid(t, calm, shape):
            flags.append("gripper-slip")
    if steady and len(y) > 8 and _lifted_far(y, shape):
        flags.append("straightened")
    if shape.lifts > 1 or risen is not None or _landed(shape, relaxes=relaxes):
        flags.append("worked-twice")
    return Manners(flags=tuple(flags), hands=hands, risen_t=risen)


def _pushes(t: Floats, lifted: Floats, shape: Shape) -> bool:
    """Whether a push of a tenth of a second or more lifted the reading."""
    above = lifted > max(10.0 * shape.noise, PUSH_SHARE * shape.level)
    return any(t[b] - t[a] >= 0.1 for a, b in runs_of(above))


def _lifted_far(y: Floats, shape: Shape) -> bool:
    """Whether a push lifted a motor's hold several saw-teeth above where it came back to."""
    tooth = 3.0 * float(np.median(np.abs(y - np.median(y))))
    threshold = max(10.0 * shape.noise, 1.5 * tooth, 2.0 * PUSH_SHARE * shape.level)
    lifted = comes_back(y, period=shape.period, threshold=threshold)
    return any((b - a) * shape.period >= 0.06 for a, b in runs_of(lifted))


def _risen(t: Floats, y: Floats, shape: Shape) -> float | None:
    """Time of a second crank's trip: the reading rises, and has not come back soon after.

    A push by hand is over within half a second; a locked string that was cranked again
    stands higher from then on than its law had let it fall.
    """
    early, late = round(0.1 / shape.period), max(4, round(0.62 / shape.period))
    if len(y) <= late + 1:
        return None
    ahead = np.lib.stride_tricks.sliding_window_view(y, late - early + 1).min(axis=1)
    rise = ahead[early : early + len(y) - late] - y[: len(y) - late]
    best = int(np.argmax(rise))
    if rise[best] < max(6.0 * shape.noise, 0.004 * shape.level):
        return None
    return float(t[best + int(np.argmax(y[best : best + late]))])


def _slid(t: Floats, y: Floats, shape: Shape) -> bool:
    falls = _falls(y, shape)
    far = any(fall > FAR_SHARE * shape.level for fall in falls)
    return far or sum(fall > SLIP_SHARE * shape.level for fall in falls) >= 2


def _falls(y: Floats, shape: Shape) -> list[float]:
    """Sizes of the quick falls that last."""
    span = max(2, round(0.06 / shape.period))
    if len(y) < 5 * span:
        return []
    middle = np.lib.stride_tricks.sliding_window_view(y, span)
    medians = np.median(middle, axis=1)
    fall = medians[: -3 * span] - medians[3 * span :]
    # what the law itself loses over the same time
    drift = np.median(fall)
    fall = fall - max(float(drift), 0.0)
    found = []
    while len(fall) and fall.max() > max(10.0 * shape.noise, 0.5 * SLIP_SHARE * shape.level):
        best = int(np.argmax(fall))
        found.append(float(fall[best]))
        fall[max(0, best - 5 * span) : best + 5 * span + 1] = 0.0
    return found


def _landed(shape: Shape, *, relaxes: bool) -> bool:
    """Whether the rise stood still for a while on its way up, or went down again.

    A crank that is set anew holds meanwhile; a bar that is lifted again lets go of some.
    """
    y = shape.y[shape.start : shape.top + 1]
    first = int(np.argmax(y > 0.45 * shape.level)) if len(y) else 0
    part = y[first:]
    if not relaxes:
        return bool(
            len(part) and (np.maximum.accumulate(part) - part).max() > 0.1 * shape.level
        )
    span = max(2, round(LANDING_S / shape.period))
    if len(part) <= span:
        return False
    return bool((part[span:] - part[:-span]).min() < 0.012 * shape.level)
