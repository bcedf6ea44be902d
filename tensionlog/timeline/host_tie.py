"""The device's clock tied to the host's.

Bytes only ever arrive late, never early. So of all (arrival − device time) the least ones
are the truest: their lower envelope is the offset between the two clocks, and a USB burst
does not move it. Of each chunk only the last sample counts, the least delayed of it; of
each 5 s only the least offset is kept, so a day costs some ten thousand pairs.

The offset is not one number. The device's resonator may be off by 3 %, the host's clock
may be set while we record, the device may start again. Where the offset leaps, a new
stretch begins, and a host time that two stretches could hold (a clock set back) goes to
the one nearest in the file.
"""

from bisect import bisect_left, bisect_right
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

BUCKET_S = 5.0

_WINDOW_S = 30.0
_LEAP_S = 0.25  # a scheduler's hiccup is shorter, a clock that was set leaps further
_DRIFT = 0.03
_ROUNDS = 8  # 3 % of drift leaves 0.03⁸ of the first guess's error
_FEWEST_FOR_DRIFT = 4
_TELLS_TILT_S = 10.0
_READ_TO_S = 1e-6  # arrival times are written to the microsecond


class Drift(NamedTuple):
    """How fast the device's clock runs against the host's.

    Attributes:
        ppm: Parts in a million; positive: the device's clock is fast.
        u_ppm: One standard uncertainty.
    """

    ppm: float
    u_ppm: float


class ClockStep(NamedTuple):
    """The host's clock was set while the device's ran on.

    Attributes:
        boot: Which start of the device.
        t_s: Device time from which on the new setting holds, to within 5 s.
        size_s: By how much; positive: set forward.
    """

    boot: int
    t_s: float
    size_s: float


class Stretch:
    """A run of arrivals over which the offset only drifts.

    Attributes:
        boot: Which start of the device.
        device_s: Device times, rising, about one for each bucket.
        offset_s: Host minus device time at each.
    """

    def __init__(self, boot: int, device_s: list[float], offset_s: list[float]) -> None:
        self.boot = boot
        self.device_s = device_s
        self.offset_s = offset_s

    def fits(self, boot: int, device_s: float, offset_s: float) -> bool:
        """Whether the pair goes on from here without a leap."""
        leap_s = abs(offset_s - self.offset_s[-1])
        return boot == self.boot and leap_s <= _LEAP_S + _DRIFT * (device_s - self.device_s[-1])

    def offset_at(self, device_s: float) -> float:
        """The lower envelope of the offset about `device_s`, carried on beyond the ends."""
        inside_s = min(max(device_s, self.device_s[0]), self.device_s[-1])
        before, after = (
            bisect_right(self.device_s, inside_s),
            bisect_left(self.device_s, inside_s),
        )
        first = min(bisect_left(self.device_s, inside_s - _WINDOW_S), before - 1)
        last = max(bisect_right(self.device_s, inside_s + _WINDOW_S), after + 1)
        hull = _lower_hull(self.device_s[first:last], self.offset_s[first:last])
        return _on_hull(hull, inside_s) + _tilt(hull) * (device_s - inside_s)

    def device_at(self, host_s: float) -> float:
        """Device time at host time `host_s`."""
        device_s = host_s - self.offset_s[-1]
        for _ in range(_ROUNDS):
            device_s = host_s - self.offset_at(device_s)
        return device_s


class HostTie:
    """Collect arrivals, answer which device time a host time was."""

    def __init__(self) -> None:
        self._closed: list[Stretch] = []
        self._open: tuple[int, int, float, float] | None = None  # boot, bucket, pair

    def add(self, boot: int, device_s: float, at_s: float) -> None:
        """Note that what the device took at `device_s` was here at host time `at_s`."""
        bucket = int(device_s // BUCKET_S)
        offset_s = at_s - device_s
        held = self._open
        if held is None or held[0] != boot or held[1] != bucket:
            self._close()
        elif held[3] <= offset_s:
            return
        self._open = (boot, bucket, device_s, offset_s)

    def add_all(
        self, boot: int, device_s: NDArray[np.float64], at_s: NDArray[np.float64]
    ) -> None:
        """Note many pairs of one boot, device times rising, both of shape (n,)."""
        offset_s = at_s - device_s
        ends = np.flatnonzero(np.diff(device_s // BUCKET_S)) + 1
        for begin, end in pairwise([0, *ends.tolist(), len(device_s)]):
            if begin < end:  # of one bucket only the least offset can matter
                least = begin + int(offset_s[begin:end].argmin())
                self.add(boot, float(device_s[least]), float(at_s[least]))

    def stretches(self) -> list[Stretch]:
        """All stretches in file order, the bucket still open in the last one."""
        if self._open is None:
            return self._closed
        boot, _, device_s, offset_s = self._open
        if not self._closed or not self._closed[-1].fits(boot, device_s, offset_s):
            return [*self._closed, Stretch(boot, [device_s], [offset_s])]
        last = self._closed[-1]
        longer = Stretch(boot, [*last.device_s, device_s], [*last.offset_s, offset_s])
        return [*self._closed[:-1], longer]

    def offset_s(self, boot: int, device_s: float) -> float | None:
        """Host minus device time there, or None where that boot has no arrivals."""
        own = [stretch for stretch in self.stretches() if stretch.boot == boot]
        if not own:
            return None
        return min(own, key=lambda s: _outside(s.device_s, device_s)).offset_at(device_s)

    def steps(self) -> list[ClockStep]:
        """Where the offset leapt and stayed; one late read that came back is none."""
        lasting: list[Stretch] = []
        for stretch in self.stretches():
            at = (stretch.boot, stretch.device_s[0], stretch.offset_s[0])
            if len(lasting) > 1 and len(lasting[-1].device_s) == 1 and lasting[-2].fits(*at):
                lasting.pop()
            lasting.append(stretch)
        return [
            ClockStep(after.boot, after.device_s[0], after.offset_s[0] - before.offset_s[-1])
            for before, after in pairwise(lasting)
            if after.boot == before.boot
            and not before.fits(after.boot, after.device_s[0], after.offset_s[0])
        ]

    def drift(self) -> Drift | None:
        """The device's rate over the longest stretch; None if that is too short to tell."""
        longest = max(
            self.stretches(), key=lambda s: s.device_s[-1] - s.device_s[0], default=None
        )
        if longest is None or len(longest.device_s) < _FEWEST_FOR_DRIFT:
            return None
        return _drift(longest.device_s, longest.offset_s)

    def _close(self) -> None:
        if self._open is None:
            return
        boot, _, device_s, offset_s = self._open
        if self._closed and self._closed[-1].fits(boot, device_s, offset_s):
            self._closed[-1].device_s.append(device_s)
            self._closed[-1].offset_s.append(offset_s)
        else:
            self._closed.append(Stretch(boot, [device_s], [offset_s]))
        self._open = None


def _outside(device_s: list[float], at_s: float) -> float:
    return max(device_s[0] - at_s, at_s - device_s[-1], 0.0)


def _lower_hull(xs: list[float], ys: list[float]) -> list[tuple[float, float]]:
    """The corners of the lower convex hull, from left to right; `xs` rise."""
    hull: list[tuple[float, float]] = []
    for point in zip(xs, ys, strict=True):
        while len(hull) > 1 and _lies_above(hull[-1], hull[-2], point):
            hull.pop()
        hull.append(point)
    return hull


def _lies_above(
    middle: tuple[float, float], left: tuple[float, float], right: tuple[float, float]
) -> bool:
    rise = (right[1] - left[1]) * (middle[0] - left[0])
    return (middle[1] - left[1]) * (right[0] - left[0]) >= rise


def _on_hull(hull: list[tuple[float, float]], x: float) -> float:
    """Height of the hull at `x`, which lies between its ends."""
    right = max(1, bisect_left(hull, (x, float("-inf"))))
    if len(hull) == 1:
        return hull[0][1]
    (x0, y0), (x1, y1) = hull[right - 1], hull[right]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def _tilt(hull: list[tuple[float, float]]) -> float:
    """Slope from end to end; 0 if that is too short to tell drift from delay."""
    (x0, y0), (x1, y1) = hull[0], hull[-1]
    return (y1 - y0) / (x1 - x0) if x1 - x0 >= _TELLS_TILT_S else 0.0


def _drift(device_s: list[float], offset_s: list[float]) -> Drift:
    """Slope of the hull's edge under the middle: the line below all with least distance."""
    n = len(device_s)
    middle_s = sum(device_s) / n
    hull = _lower_hull(device_s, offset_s)
    right = min(max(1, bisect_left(hull, (middle_s, float("-inf")))), len(hull) - 1)
    (x0, y0), (x1, y1) = hull[right - 1], hull[right]
    slope = (y1 - y0) / (x1 - x0)
    above = [y - y0 - slope * (x - x0) for x, y in zip(device_s, offset_s, strict=True)]
    scatter_s = max(sqrt(sum(a * a for a in above) / n), _READ_TO_S)
    spread_s = sqrt(sum((x - middle_s) ** 2 for x in device_s))
    return Drift(ppm=-1e6 * slope / (1.0 + slope), u_ppm=1e6 * scatter_s / spread_s)
