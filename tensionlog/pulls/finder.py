"""Find the stretches of a sitting in which the cell is loaded, one sample at a time.

Two thresholds above the running empty reading make a stretch: it begins when three
samples in a row stand above the upper one (a spike or a knock of one sample does not),
and ends when the reading has stayed below the lower one for a moment. Whether a stretch
is a pull is decided later, by its shape (`shape.py`): here nothing is thrown away that
could be one.

The same object serves a live port and a replayed file, so both find the same.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.finder_rule import FinderRule


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One stretch in which the cell was loaded, with the empty reading around it.

    Attributes:
        boot: Which start of the device the times belong to.
        t_s: Device time since that boot's first sample, seconds, shape (n,).
        counts: Raw readings, shape (n,).
        first: Index of the first sample above the upper threshold.
        last: Index of the last sample above the lower threshold.
        base: Running empty reading at the beginning, counts.
        cut_at_end: The device restarted, or the recording ended, under load.
        cut_at_start: The device came back from a restart and found the cell loaded.
    """

    boot: int
    t_s: NDArray[np.float64]
    counts: NDArray[np.float64]
    first: int
    last: int
    base: float
    cut_at_end: bool
    cut_at_start: bool = False


class StretchFinder:
    """Cut a stream of readings into loaded stretches.

    Args:
        newtons_per_count: Scale for the thresholds; its sign is the wiring's. Without
            a calibration, the caller's guess: thresholds are rough by design.
        rate_hz: Nominal sample rate, for the counts of samples that the rule's times
            come to; a rate that is 20 % off does no harm.
        rule: Thresholds.
    """

    __slots__ = (
        "_above",
        "_base",
        "_below",
        "_boot",
        "_counts",
        "_enter",
        "_first",
        "_follow_counts",
        "_last",
        "_leave",
        "_leave_count",
        "_loaded",
        "_past",
        "_rule",
        "_scale",
        "_stop_count",
        "_t",
        "_under",
    )

    def __init__(
        self, *, newtons_per_count: float, rate_hz: float, rule: FinderRule | None = None
    ) -> None:
        self._rule = rule or FinderRule()
        self._scale = newtons_per_count
        self._enter = self._rule.enter_n
        self._leave = self._rule.leave_n
        self._leave_count = max(2, round(self._rule.leave_s * rate_hz))
        self._stop_count = self._leave_count + max(2, round(self._rule.after_s * rate_hz))
        self._follow_counts = min(0.2, 1.0 / rate_hz) / newtons_per_count
        self._past: deque[tuple[float, float]] = deque(
            maxlen=max(20, round(self._rule.before_s * rate_hz))
        )
        self._boot = 0
        self._t: list[float] = []
        self._counts: list[float] = []
        self._base: float | None = None
        self._unload()

    def _unload(self) -> None:
        self._loaded = False
        self._above = self._below = self._under = 0
        self._first = self._last = 0

    @property
    def loaded(self) -> bool:
        """Whether a stretch is under way."""
        return self._loaded

    @property
    def base(self) -> float | None:
        """The running empty reading, counts; None before it is known."""
        return self._base

    def push(self, boot: int, t_s: float, counts: float) -> Stretch | None:
        """Take one reading; give back the stretch that it completes, if any."""
        if boot != self._boot or self._base is None:
            return self._push_first(boot, t_s, counts)
        over = (counts - self._base) * self._scale
        if self._loaded:
            return self._push_loaded(t_s, counts, over)
        self._past.append((t_s, counts))
        if -2.0 < over < 2.0:  # the empty cell: nearly every sample of a sitting
            self._base += over * self._follow_counts
            self._above = 0
            self._under = 0
        else:
            self._push_odd(counts, over)
        return None

    def push_many(
        self, boot: int, t_s: NDArray[np.float64], counts: NDArray[np.int64]
    ) -> list[Stretch]:
        """Take many readings of one boot; the same as `push` one by one, only faster."""
        times, values = t_s.tolist(), counts.tolist()
        found: list[Stretch] = []
        at = 0
        while at < len(times):
            stretch = None
            if boot != self._boot or self._base is None:
                stretch = self.push(boot, times[at], values[at])
                at += 1
            elif self._loaded:
                at, stretch = self._push_hold(at, times, values, counts)
            else:
                at = self._push_rest(at, times, values)
            if stretch is not None:
                found.append(stretch)
        return found

    def _push_rest(self, begin: int, times: list[float], values: list[float]) -> int:
        """The empty cell up to the reading that loads it; where that leaves off."""
        assert self._base is not None  # narrowed by push_many
        base, scale, follow = self._base, self._scale, self._follow_counts
        end = told = begin
        for counts in values[begin:]:
            over = (counts - base) * scale
            end += 1
            if -2.0 < over < 2.0:
                base += over * follow
                continue
            if end - told > 1:  # there were calm ones before it
                self._above = self._under = 0
            self._base = base
            self._past.extend(zip(times[told:end], values[told:end], strict=True))
            told = end
            self._push_odd(counts, over)
            if self._loaded:
                return end
            base = self._base
        if end > told:
            self._above = self._under = 0
        self._base = base
        self._past.extend(zip(times[told:end], values[told:end], strict=True))
        return end

    def _push_hold(
        self, begin: int, times: list[float], values: list[float], counts: NDArray[np.int64]
    ) -> tuple[int, Stretch | None]:
        """The loaded cell up to the end of the stretch; where that leaves off."""
        assert self._base is not None  # narrowed by push_many
        held = len(self._t)
        if held + len(times) - begin > self._rule.longest:
            done = self.push(self._boot, times[begin], values[begin])
            return begin + 1, done
        over = (counts[begin:] - self._base) * self._scale
        above = np.flatnonzero(over > self._leave)
        edges = np.concatenate([[-1 - self._below], above, [len(over)]])
        long = np.flatnonzero(np.diff(edges) > self._stop_count)
        last = int(edges[long[0] if len(long) else -2])
        to = begin + (last + self._stop_count + 1 if len(long) else len(over))
        self._t += times[begin:to]
        self._counts += values[begin:to]
        self._below = to - begin - 1 - last
        if last >= 0:
            self._last = held + last
        return to, self._finish(cut_at_end=False) if len(long) else None

    def _push_first(self, boot: int, t_s: float, counts: float) -> Stretch | None:
        """The device began anew, or the empty reading is not known yet."""
        if boot != self._boot:
            done = self.interrupt()
            self._boot = boot
            if self._base is not None:
                return done or self.push(boot, t_s, counts)
            return done
        self._past.append((t_s, counts))
        if len(self._past) >= 8:
            readings = sorted(c * self._scale for _, c in self._past)
            self._base = readings[len(readings) // 2] / self._scale
        return None

    def _push_loaded(self, t_s: float, counts: float, over: float) -> Stretch | None:
        self._t.append(t_s)
        self._counts.append(counts)
        if over > self._leave:
            self._below = 0
            self._last = len(self._t) - 1
            if len(self._t) > self._rule.longest:
                self._thin()
            return None
        self._below += 1
        return self._finish(cut_at_end=False) if self._below >= self._stop_count else None

    def _push_odd(self, counts: float, over: float) -> None:
        """A reading that stands off the empty one, though the cell is not loaded yet."""
        if over > self._enter:
            self._above += 1
            if self._above >= 3:
                self._begin()
            return
        self._above = 0
        if over < -self._enter:
            self._sink()
            return
        self._under = 0
        assert self._base is not None  # narrowed by push
        self._base += (2.0 if over > 0.0 else -2.0) * self._follow_counts

    def interrupt(self) -> Stretch | None:
        """The stream broke off: give back what is under way, and begin afresh.

        The empty reading is kept: a restart of the device does not move the cell's zero,
        and a string may hang on it when the device comes back.
        """
        under_way = (
            self._finish(cut_at_end=self._below < self._leave_count) if (self._loaded) else None
        )
        self._t, self._counts = [], []
        self._past.clear()
        self._unload()
        return under_way

    def under_way(self) -> Stretch | None:
        """The stretch as far as it has come, for a verdict while the head still holds."""
        return self._stretch(cut_at_end=True) if self._loaded else None

    def _sink(self) -> None:
        """Empty lies lower than thought: the sitting began under load, or a weight came off."""
        self._under += 1
        if self._under >= 3 * self._leave_count:
            recent = [c for _, c in list(self._past)[-self._leave_count :]]
            self._base = sorted(recent)[len(recent) // 2]
            self._under = 0

    def _begin(self) -> None:
        self._t = [t for t, _ in self._past]
        self._counts = [c for _, c in self._past]
        self._first = max(0, len(self._t) - self._above)
        self._last = len(self._t) - 1
        self._loaded = True
        self._below = 0
        self._past.clear()

    def _thin(self) -> None:
        """Leave the middle of a very long stretch out, so that memory stays flat."""
        tenth = self._rule.longest // 10
        del self._t[4 * tenth : 6 * tenth]
        del self._counts[4 * tenth : 6 * tenth]
        self._last = len(self._t) - 1

    def _stretch(self, *, cut_at_end: bool) -> Stretch:
        assert self._base is not None  # a stretch begins above a base
        return Stretch(
            boot=self._boot,
            t_s=np.array(self._t),
            counts=np.array(self._counts, dtype=np.float64),
            first=self._first,
            last=self._last,
            base=self._base,
            cut_at_end=cut_at_end,
            cut_at_start=self._boot > 0 and self._first < 3 and self._t[0] < 0.5,
        )

    def _finish(self, *, cut_at_end: bool) -> Stretch:
        done = self._stretch(cut_at_end=cut_at_end)
        self._past.extend(
            zip(self._t[self._last + 1 :], self._counts[self._last + 1 :], strict=True)
        )
        self._t, self._counts = [], []
        self._unload()
        return done
