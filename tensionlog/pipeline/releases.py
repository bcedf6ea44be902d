"""The release under way: looked for while the head holds, read once more as it lets off."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final, Protocol

from tensionlog.model.pull import Pull
from tensionlog.pipeline.judge import judge_pulls
from tensionlog.pipeline.quick import Quick, Standing
from tensionlog.pipeline.sitting import Looked
from tensionlog.plan import Placed
from tensionlog.pulls.shape import Shape

LOOK_EVERY_S: Final = 0.04
"""A release under way is looked for so often at most, and only while the force falls."""

REST_SHARE: Final = 1.5
"""After a look so many times as long as it took is rested."""

LOOK_ON_S: Final = 0.6
"""So long after a step was seen its numbers are refined; then they stand till the let-off."""


class Teacher(Protocol):
    """Whoever reads a sitting as a whole."""

    @property
    def looked(self) -> Looked | None:
        """What the latest look has taught, or None before any."""


class Releases:
    """Reads one pull at a time by what the others have taught.

    Args:
        clock_s: Seconds that never jump; real ones, whatever the bench's clock.
    """

    def __init__(self, clock_s: Callable[[], float]) -> None:
        self._clock_s = clock_s
        self._quick: Quick | None = None
        self._slow: Teacher | None = None
        self._look_at_s = 0.0
        self._seen_since_s: float | None = None
        self._read_last: Shape | None = None

    def begin(self, quick: Quick, slow: Teacher) -> None:
        """Another sitting is on."""
        self._quick, self._slow = quick, slow
        self._seen_since_s = self._read_last = None

    def under_way(self) -> Pull | None:
        """The pull under way where a release is seen in it; None where there is no news."""
        quick, now_s = self._quick, self._clock_s()
        if quick is None or not quick.is_loaded or now_s < self._look_at_s:
            return None
        if not self._is_worth_it(quick, now_s):
            return None
        shape = quick.shape_under_way()
        pull = None if shape is None else self._judged(quick, shape)
        took_s = self._clock_s() - now_s
        self._look_at_s = now_s + took_s + max(LOOK_EVERY_S, REST_SHARE * took_s)
        if pull is None or not pull.seen or (pull.position or "").startswith("X"):
            return None  # a cross is pushed straight while the head holds: told at the let-off
        self._seen_since_s = self._seen_since_s or now_s
        return pull

    def let_off(self) -> Pull | None:
        """The pull that was let off just now, read by itself; None where it was none."""
        self._seen_since_s = None
        quick = self._quick
        shape = None if quick is None else quick.last_shape()
        if quick is None or shape is None or shape is self._read_last:
            return None
        self._read_last = shape
        return self._judged(quick, shape)

    def _is_worth_it(self, quick: Quick, now_s: float) -> bool:
        if self._seen_since_s is None:
            return quick.has_stepped()
        # As the head lets off, the hold under way ends in a fall that reads like a loss.
        return now_s - self._seen_since_s <= LOOK_ON_S and quick.stands()

    def _judged(self, quick: Quick, shape: Shape) -> Pull | None:
        """One pull by itself, judged after those that the last look has read."""
        looked = None if self._slow is None else self._slow.looked
        if looked is None:
            return None
        kept = quick.read(shape, looked.lesson)
        one, standing = quick.timed(kept), quick.standing()
        place = _place_at(standing, one.start_s, within_s=1.0)
        if place is None:
            return None
        pairs = [
            (earlier, where)
            for earlier in looked.timed
            if earlier.start_s < one.start_s - 0.5
            and (where := _place_at(standing, earlier.start_s, within_s=0.5)) is not None
        ]
        laws = (kept.law,) * (len(pairs) + 1)
        return judge_pulls(
            [*(timed for timed, _ in pairs), one],
            [*(where for _, where in pairs), place],
            standing.jobs,
            replace(looked.bench, laws=laws, calibrated=quick.calibrated),
        )[-1]


def _place_at(standing: Standing, start_s: float, *, within_s: float) -> Placed | None:
    """Place of the lap that began at `start_s`."""
    near = (lap.place for lap in standing.laps if abs(lap.start_s - start_s) < within_s)
    return next(near, None)
