"""Where in a hold test each thing happens: the pull, the let-off, the second pull.

The notes say it to within a second; the trace says it to within a few readings.
"""

from dataclasses import dataclass

import numpy as np

from tensionlog.clamps.trace import Bools, Floats, Readings
from tensionlog.errors import ClampError

NOTE_ROOM_S = 1.25
"""A note stands within a second of what it names; the rest is the clocks' and ours."""

LOADED = 0.4
"""A pull that raises the reading by less than this share of its target is none."""

STEEPEST = 0.07
"""Relaxation per decade of a soft string, a share of its force."""

SLOW_ANSWER_S = 0.15
"""Of a slower answer only the middle says when something happened."""

SUDDEN_HALF_S = 0.04
"""Half of what a quick let-off takes."""

LET_OFF_S = 0.3
"""A head lets off in 50–300 ms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """The second pull with the clamp shut; seconds on the same clock.

    Attributes:
        rise_s: The reading begins to rise.
        full_s: The rise is over.
        fall_s: The reading begins to fall again, or the end of the test.
        rest_s: The fall is over, or None where the head never let off again.
    """

    rise_s: float
    full_s: float
    fall_s: float
    rest_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmarks:
    """Times of one hold test, seconds on the readings' clock.

    Attributes:
        pull_s: The pull begins; before it the cell is empty.
        top_s: The ramp's end: first reading at or above 98 % of the settled level.
        trip_s: The highest reading just after it: relaxation begins.
        hand_off_s: The reading begins to fall as the head lets off.
        alone_s: The fall is over: the clamp holds alone.
        again: The second pull, or None where none was noted or seen.
        last_s: End of what can be used.
    """

    pull_s: float
    top_s: float
    trip_s: float
    hand_off_s: float
    alone_s: float
    again: Again | None
    last_s: float


def find_landmarks(
    *,
    readings: Readings,
    hand_off_note_s: float,
    re_pull_note_s: float | None,
    end_s: float,
    target_n: float,
) -> Landmarks:
    """Find the times of a hold test.

    Raises:
        ClampError: No hand-off is seen, there is no pull before it, or the string
            went slack before the test was over.
    """
    hand_off_s, alone_s = _hand_off(readings, hand_off_note_s)
    pull_s, top_s = _pull(readings, hand_off_s, target_n)
    _check_fall(readings, top_s, hand_off_s, alone_s)
    last_s = _last(readings, alone_s, min(end_s, float(readings.t_s[-1])))
    again = None
    if re_pull_note_s is not None:
        again = _again(readings, re_pull_note_s, alone_s, last_s)
    return Landmarks(
        pull_s=pull_s,
        top_s=top_s,
        trip_s=_trip(readings, top_s, hand_off_s),
        hand_off_s=hand_off_s,
        alone_s=alone_s,
        again=again,
        last_s=last_s,
    )


def _means(readings: Readings, starts_s: Floats, width_s: float) -> Floats:
    """Mean reading over `width_s` from each start; NaN where there is none."""
    total = np.concatenate([[0.0], np.cumsum(readings.force)])
    low = np.searchsorted(readings.t_s, starts_s - 1e-9)
    high = np.searchsorted(readings.t_s, starts_s + width_s - 1e-9)
    count = (high - low).astype(np.float64)
    count[count == 0] = np.nan
    means: Floats = (total[high] - total[low]) / count
    return means


def _hand_off(readings: Readings, note_s: float) -> tuple[float, float]:
    """Begin and end of the fall near the note."""
    near = np.abs(readings.t_s - note_s) <= NOTE_ROOM_S
    at_s = readings.t_s[near]
    if at_s.size < 3:
        raise ClampError(
            f"there are no readings around the hand-off at {note_s:.2f} s. "
            "Look at the cable and make the test again."
        )
    width_s = max(0.3, 2.0 * readings.step_s)
    gap_s = LET_OFF_S + readings.response_s
    before_n = _means(readings, at_s - width_s, width_s)
    # What comes back within one bounce of a bar was no let-off: the highest after counts.
    later = [_means(readings, at_s + gap_s + i * width_s, width_s) for i in range(5)]
    with np.errstate(invalid="ignore"):
        fall = before_n - np.fmax.reduce(later)
    fall = np.where(np.isfinite(fall), fall, -np.inf)
    best = _first_great(at_s, fall, gap_s, 0.75 * float(fall.max()))
    if not fall[best] > max(0.3, 8.0 * readings.noise / np.sqrt(width_s / readings.step_s)):
        raise ClampError(
            f"no hand-off is seen within {NOTE_ROOM_S:.2f} s of the note at {note_s:.2f} s: "
            "the reading hardly falls. Let the head off with the clamp shut, and test again."
        )
    before = readings.level(at_s[best] - width_s, at_s[best])
    return _edge(readings, float(at_s[best]), before, before - float(fall[best]), gap_s)


def _first_great(at_s: Floats, fall: Floats, gap_s: float, least: float) -> int:
    """The first great fall: a slip soon after the hand-off may be greater."""
    first = int(np.argmax(fall >= least))
    nearby = (at_s >= at_s[first]) & (at_s <= at_s[first] + gap_s)
    return int(np.argmax(np.where(nearby, fall, -np.inf)))


def _edge(
    readings: Readings, near_s: float, before: float, after: float, gap_s: float
) -> tuple[float, float]:
    """When a change from one level to another begins and when it is over."""
    size = abs(after - before)
    window = (readings.t_s >= near_s - gap_s) & (readings.t_s <= near_s + 2.0 * gap_s)
    t_s = readings.t_s[window]
    done = (readings.force[window] - before) / (after - before)
    half = _crossing(t_s, done >= 0.5, near_s)
    over = np.flatnonzero(done[half:] >= 1.0 - max(3.0 * readings.noise / size, 0.04))
    end_s = t_s[half + over[0]] if over.size else t_s[-1]
    return _begin(t_s[: half + 1], done[: half + 1], readings.response_s), float(end_s)


def _begin(t_s: Floats, done: Floats, response_s: float) -> float:
    """Begin of a change from its rise between 15 and 50 %, below which a push may hide."""
    low = np.flatnonzero(done <= 0.15)
    if not low.size or low[-1] == len(t_s) - 1:
        return float(t_s[0])
    part = slice(int(low[-1]), None)
    early_s, half_s = np.interp((0.15, 0.5), np.maximum.accumulate(done[part]), t_s[part])
    if response_s > SLOW_ANSWER_S:
        # The middle comes half an answer late, whatever the shape of the answer is.
        seen_s = (half_s - early_s) / 0.35
        lasted_s = max(seen_s**2 - response_s**2, 0.0) ** 0.5
        return float(half_s - 0.5 * response_s - max(0.5 * lasted_s, SUDDEN_HALF_S))
    # A slow change comes out of the converter half its answer late, a sudden one at once.
    slow = np.clip((half_s - early_s) / (0.35 * response_s) - 1.0, 0.0, 1.5) / 1.5
    # A straight fall begins 0.43 of that time earlier, one with a soft start 0.9 of it.
    return float(early_s - 0.55 * (half_s - early_s) - 0.5 * response_s * slow)


def _crossing(t_s: Floats, past: Bools, near_s: float) -> int:
    """First place past the middle, of several the one nearest to `near_s`."""
    crossings = np.flatnonzero(past & ~np.append(False, past[:-1]))
    if not crossings.size:
        return len(t_s) - 1
    return int(crossings[np.argmin(np.abs(t_s[crossings] - near_s))])


def _check_fall(readings: Readings, top_s: float, hand_off_s: float, alone_s: float) -> None:
    """Tell a hand-off from a string that only relaxes."""
    before = readings.level(hand_off_s - 0.3, hand_off_s)
    fell = before - readings.level(alone_s, alone_s + 0.3)
    lasted_s = alone_s - hand_off_s + 0.3
    relaxes = STEEPEST * before / np.log(10.0) * lasted_s / max(hand_off_s - top_s, 0.5)
    if fell < relaxes:
        raise ClampError(
            f"no hand-off is seen near {hand_off_s:.1f} s: the reading falls by {fell:.1f} N, "
            "no more than a string relaxes. Let the head off with the clamp shut."
        )


def _pull(readings: Readings, hand_off_s: float, target_n: float) -> tuple[float, float]:
    """Begin and top of the pull that leads to the hand-off."""
    settled = readings.level(hand_off_s - 1.5, hand_off_s - 0.2)
    if np.isnan(settled):
        settled = readings.level(hand_off_s - 2.0, hand_off_s)
    t_s = readings.t_s[readings.t_s < hand_off_s]
    force = readings.force[readings.t_s < hand_off_s]
    empty = float(np.min(np.append(force[:5], force.min()))) if force.size else np.nan
    rise = settled - empty
    low = np.flatnonzero(force - empty < 0.5 * rise)
    if not low.size or not rise > LOADED * target_n:
        raise ClampError(
            f"the test begins under load: before the hand-off at {hand_off_s:.2f} s the "
            "cell is never empty. Start the test with the string slack."
        )
    after = np.flatnonzero(force[low[-1] :] >= empty + 0.98 * rise)
    top = low[-1] + int(after[0]) if after.size else int(low[-1])
    idle = np.median(force[: max(3, int(0.1 * low[-1]))])
    room = max(6.0 * readings.noise, 0.002 * rise)
    quiet = np.flatnonzero(force[: low[-1] + 1] <= idle + room)
    begin = quiet[-1] if quiet.size else 0
    return float(t_s[begin]), float(t_s[top])


def _trip(readings: Readings, top_s: float, hand_off_s: float) -> float:
    """When the ramp is highest: the settled level lies well below the trip of a crank."""
    near = (readings.t_s >= top_s) & (readings.t_s < min(top_s + 0.5, hand_off_s))
    highest = int(np.argmax(np.where(near, readings.force, -np.inf)))
    # The highest mean of a rise and a slower fall comes nearly a whole answer late.
    return float(readings.t_s[highest]) - 0.8 * readings.response_s


def _last(readings: Readings, alone_s: float, end_s: float) -> float:
    """End of the test, or of what is left before the string is taken down."""
    held = readings.level(alone_s, alone_s + 0.5)
    empty = float(np.min(readings.force))
    after = (readings.t_s >= alone_s) & (readings.t_s <= end_s)
    low = after & (readings.force - empty < 0.4 * (held - empty))
    slack_s = readings.t_s[low]
    if slack_s.size < 3:
        return end_s
    gone_s = float(slack_s[0])
    if end_s - gone_s > 2.0 or gone_s - alone_s < 3.5:
        raise ClampError(
            f"the string went slack {gone_s - alone_s:.1f} s after the hand-off: it broke, "
            "or the clamp let go. Look at both and make the test again."
        )
    return gone_s - 0.3


def _again(readings: Readings, note_s: float, alone_s: float, last_s: float) -> Again | None:
    """Rise and fall of the second pull near its note; None where none is seen."""
    base_end = max(note_s - 1.0, alone_s + 0.4)
    base = readings.level(base_end - 0.4, base_end)
    at_s = readings.t_s[(readings.t_s >= base_end) & (readings.t_s < last_s - 0.3)]
    if not at_s.size or np.isnan(base):
        return None
    width_s = max(0.3, 2.0 * readings.step_s)
    means = _means(readings, at_s, width_s)
    high = int(np.nanargmax(means))
    # A slip before the pull lowers what it rises from.
    base = min(base, float(np.nanmin(means[: high + 1])))
    size = float(means[high]) - base
    if size < max(0.3, 8.0 * readings.noise / np.sqrt(width_s / readings.step_s)):
        return None
    middle = base + 0.5 * size
    up = np.flatnonzero(means[: high + 1] < middle)
    up_s = float(at_s[up[-1]]) if up.size else float(at_s[0])
    # A pull by hand takes a second or two, far longer than a let-off.
    rise_s, full_s = _edge(readings, up_s, base, base + size, 2.0)
    fall_s, rest_s = _second_fall(readings, full_s, last_s, size)
    return Again(rise_s=rise_s, full_s=full_s, fall_s=fall_s, rest_s=rest_s)


def _second_fall(
    readings: Readings, full_s: float, last_s: float, size: float
) -> tuple[float, float | None]:
    """When the head lets off again, or the end of the test where it never does."""
    at_s = readings.t_s[(readings.t_s >= full_s + 0.2) & (readings.t_s < last_s - 0.3)]
    width_s, gap_s = max(0.3, 2.0 * readings.step_s), LET_OFF_S + readings.response_s
    before = _means(readings, at_s - width_s, width_s)
    fall = before - _means(readings, at_s + gap_s, width_s)
    fall = np.where(np.isfinite(fall), fall, -np.inf)
    if not np.any(fall >= 0.75 * size):
        return last_s, None
    best = _first_great(at_s, fall, gap_s, 0.75 * size)
    level = float(before[best])
    return _edge(readings, float(at_s[best]), level, level - float(fall[best]), gap_s)
