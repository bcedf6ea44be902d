r"""The landmarks of one stretch: empty reading, start, ramp's end, peak, let-off.

        peak ┐  ┌ top (98 % of the settled level)
             /‾‾─────┐ release          ┌ let-off
            /        └───────────────┐ ┘
    idle __/ start                    \____

Everything here holds for all three heads. What the clamp's opening did to the hold is
the business of `lockout`, `constant_pull` and `drop_weight`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.recording import Calibration
from tensionlog.pulls.disturbed import runs_of
from tensionlog.pulls.empty import empty_reading
from tensionlog.pulls.finder import Stretch
from tensionlog.pulls.noise import white_noise, with_crest, without_spikes
from tensionlog.pulls.order import median, quantile

Floats = NDArray[np.float64]


AGAIN_WITHIN_S = 1.2
AGAIN_SHARE = 0.7
"""Loaded again within this time, and as high, is the same pull worked twice: nobody lets
off, says so and grips the string again faster (common practice, no source)."""

CLAMP_PUSH_S = 0.2
"""The clamp that is being shut pushes the reading in the last moments before let-off."""

SETTLED_SHARE = 0.98
"""The ramp ends where the reading first reaches this share of the settled level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One stretch with its landmarks; forces above the empty reading before it.

    Attributes:
        boot: Which start of the device the times belong to.
        t: Device time, seconds, shape (n,).
        y: Reading above empty, spikes taken out, shape (n,).
        counts: Raw readings, shape (n,).
        idle: Empty reading before the pull, by the calibration's own zero.
        u_idle: One standard uncertainty of it, noise only.
        idle_at: Device time that the empty reading stands for.
        noise: Standard deviation of one sample.
        period: Median time between samples, seconds.
        start: Index of the first sample of the lasting rise.
        top: Index of the first sample at 98 % of the settled level.
        let_off: Index of the last sample before the head lets go.
        peak: Greatest reading, spikes left out.
        level: Median reading from the top to the let-off.
        lifts: How often it was brought up to the level.
        cut: The stream broke off under load.
        began_loaded: The device came back from a restart and found the string pulled.
        longest_gap: Longest time without a sample from start to let-off, seconds.
        crest: Index at which the ramp that led to the hold ends.
        reached: Level that a fifth of the hold stood above: before a slip, if it slipped.
        push_s: What the end of the hold is not believed for; less while it is under way.
    """

    boot: int
    t: Floats
    y: Floats
    counts: Floats
    idle: float
    u_idle: float
    idle_at: float
    noise: float
    period: float
    start: int
    top: int
    let_off: int
    peak: float
    level: float
    lifts: int
    cut: bool
    began_loaded: bool = False
    longest_gap: float
    crest: int
    reached: float
    push_s: float = CLAMP_PUSH_S

    @property
    def held_s(self) -> float:
        """Time from the top to the let-off, in seconds."""
        return float(self.t[self.let_off] - self.t[self.top])


def joined(stretches: Sequence[Stretch]) -> Stretch:
    """Put stretches of one boot that are one pull back together, each sample once."""
    if len(stretches) == 1:
        return stretches[0]
    t = np.concatenate([s.t_s for s in stretches])
    counts = np.concatenate([s.counts for s in stretches])
    _, keep = np.unique(t, return_index=True)
    last_t = stretches[-1].t_s[stretches[-1].last]
    return Stretch(
        boot=stretches[0].boot,
        t_s=t[keep],
        counts=counts[keep],
        first=stretches[0].first,
        last=int(np.searchsorted(t[keep], last_t)),
        base=stretches[0].base,
        cut_at_end=stretches[-1].cut_at_end,
    )


def shape_of(stretch: Stretch, *, calibration: Calibration) -> Shape | None:
    """Find the landmarks of a stretch.

    Args:
        stretch: As found, joined where it is one pull in several lifts.
        calibration: Counts to force; its zero does not matter here.

    Returns:
        None where there is no rise to a hold: the sitting began or went on under load,
        or the reading only touched the threshold.
    """
    t, force = stretch.t_s, calibration.force_n(stretch.counts)
    if len(t) < 12 or stretch.last - stretch.first < 3:
        return None
    noise = white_noise(force)
    clean, _ = without_spikes(force, noise)
    clean = with_crest(force, clean, noise, first=stretch.first, last=stretch.last)
    idle, u_idle, idle_at = empty_reading(t, clean, stretch.first, noise)
    if stretch.cut_at_start:
        idle, u_idle, idle_at = float(calibration.force_n(stretch.base)), noise, float(t[0])
    y = clean - idle
    held = [] if _ends_below_empty(y, stretch) else _held(t, y, stretch)
    if not held:
        return None
    begin = held[-1][0]
    end = _still_held(t, y, *held[-1], stretch.last)
    let_off = _let_off(t, y, begin=begin, end=end, noise=noise, cut=stretch.cut_at_end)
    level = median(y[begin : let_off + 1])
    start = _start(t, y, crossing=begin, level=level, noise=noise)
    return Shape(
        boot=stretch.boot,
        t=t,
        y=y,
        counts=stretch.counts,
        idle=idle,
        u_idle=u_idle,
        idle_at=idle_at,
        noise=noise,
        period=median(np.diff(t)),
        start=start,
        top=first_at(y, SETTLED_SHARE * level, begin, let_off),
        let_off=let_off,
        peak=float(y[begin : let_off + 1].max()),
        level=level,
        lifts=len(held) + _tried_before(t, y, stretch.first, start, level),
        cut=stretch.cut_at_end,
        began_loaded=stretch.cut_at_start,
        longest_gap=float(np.diff(t[start : let_off + 1]).max(initial=0.0)),
        crest=_crest(t, y, begin, let_off),
        reached=quantile(y[begin : let_off + 1], 0.8),
    )


def top_index(shape: Shape, settled: float) -> int:
    """Index of the first sample at 98 % of `settled`, from the start of the rise on."""
    return first_at(shape.y, SETTLED_SHARE * settled, shape.start, shape.let_off)


def first_at(y: Floats, threshold: float, begin: int, end: int) -> int:
    """Index of the first sample from `begin` to `end` at or above `threshold`."""
    above = np.flatnonzero(y[begin : end + 1] >= threshold)
    return begin + int(above[0]) if len(above) else begin


def _crest(t: Floats, y: Floats, begin: int, end: int) -> int:
    """First index high up after which the reading rises no further for a while.

    The hold's own level will not do here: a large step may pull its median down into
    the ramp.
    """
    part = y[begin : end + 1]
    soon = max(2, int(np.searchsorted(t[begin : end + 1], t[begin] + 0.3)))
    padded = np.concatenate([part, np.full(soon, part[-1])])
    ahead = np.lib.stride_tricks.sliding_window_view(padded, soon + 1).max(axis=1)[: len(part)]
    ended = (part >= 0.985 * ahead) & (part >= 0.9 * part.max())
    return begin + int(np.argmax(ended))


def _ends_below_empty(y: Floats, stretch: Stretch) -> bool:
    """Whether what was taken for empty was a load: the reading falls far below it."""
    after = y[stretch.last + 1 :]
    peak = y[stretch.first : stretch.last + 1].max()
    return len(after) >= 2 and median(after) < -0.25 * peak


def _held(t: Floats, y: Floats, stretch: Stretch) -> list[tuple[int, int]]:
    """First and last index of each run that was held, if need be measured by the longest."""
    loaded = y[stretch.first : stretch.last + 1]
    runs = runs_of(y[: stretch.last + 1] > 0.6 * quantile(loaded, 0.92))
    longest = max((t[b] - t[a] for a, b in runs), default=0.0)
    return [(a, b) for a, b in runs if t[b] - t[a] >= max(min(0.15, longest), 0.2 * longest)]


def _tried_before(t: Floats, y: Floats, first: int, start: int, level: float) -> bool:
    """Whether the string was brought up in part, and not let go of, before the rise."""
    high = y[first : max(first, start)] > 0.3 * level
    return bool(high.sum() * median(np.diff(t)) > 0.15)


def _still_held(t: Floats, y: Floats, begin: int, end: int, last: int) -> int:
    """End of the hold, where a fall that looked like its end left the string held.

    A string that slid in the gripper goes on being held, lower; one that was let off
    does not stay anywhere.
    """
    after = slice(int(np.searchsorted(t, t[end] + 0.35)), last + 1)
    if after.stop - after.start < 4:
        return end
    lower = median(y[after])
    if lower < 0.25 * median(y[begin : end + 1]):
        return end
    return after.start + int(np.flatnonzero(y[after] > 0.6 * lower)[-1])


def _let_off(t: Floats, y: Floats, *, begin: int, end: int, noise: float, cut: bool) -> int:
    """Index of the last sample before the fall that ends the hold.

    Walks back from the last sample high up until the reading stands where it stood a
    quarter of a second before; the clamp's push of up to half a newton is allowed for.
    """
    if cut:
        return end
    settled = (t > t[end] - 0.75) & (t < t[end] - 0.35) & (np.arange(len(t)) >= begin)
    if settled.sum() < 2:
        settled = (np.arange(len(t)) >= begin) & (np.arange(len(t)) <= end)
    reference = median(y[settled])
    lowest = reference - max(5.0 * noise, 0.9, 0.004 * reference)
    index = end
    while index > begin and y[index] < lowest:
        index -= 1
    return index


def _start(t: Floats, y: Floats, *, crossing: int, level: float, noise: float) -> int:
    """Index of the first sample of the lasting rise.

    Back from the steep part to the last sample that is still empty; slack that was
    taken up and stayed (a plateau below a tenth of the level) is not the rise.
    """
    floor = max(4.0 * noise, 0.002 * level)
    index = crossing
    while index > 0 and y[index - 1] > floor:
        index -= 1
        if y[index] < 0.1 * level and _flat_before(t, y, index, level):
            break
    return index


def _flat_before(t: Floats, y: Floats, index: int, level: float) -> bool:
    before = int(np.searchsorted(t, t[index] - 0.3))
    return index - before >= 3 and float(y[index] - y[before : index + 1].min()) < 0.01 * level
