"""What the tension head pulls against what its dial says, and what to dial instead.

A scrap string is pulled at a few settings, twice each. The pull that the cell reads is a
straight line of the dial: an offset (a spring that is weak, a bar that hangs) and a gain.
One setting alone cannot tell the two apart; how far gains of sound heads differ from one
then says how fast the advice becomes doubtful away from that setting.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Any, Final, NamedTuple

import numpy as np

from tensionlog.errors import CalibrationError
from tensionlog.units import N_PER_UNIT

GAIN_SD: Final = 0.02
"""How far the gain of a sound head lies from one (bench experience, no source)."""

USUAL_REPEAT_PCT: Final = 0.5
USUAL_FREEDOMS: Final = 2.0
"""What a head repeats to, and how many pulls that experience is worth here (bench
experience, no source): two pulls that happen to agree do not make a perfect head."""

MOST_CORRECTION: Final = 0.05
ORDERS: Final = {"lbf": tuple(range(18, 66)), "kgf": tuple(x / 2 for x in range(16, 60))}


class HeadPull(NamedTuple):
    """One pull of the head check.

    Attributes:
        set_n: What the dial said, newtons.
        peak_n: What the cell read at the peak.
        at_3s_n: What it read three seconds after, or None.
        speed: `slow`, `fast` or None.
    """

    set_n: float
    peak_n: float
    at_3s_n: float | None = None
    speed: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DialLine:
    """The pull as a straight line of the dial.

    Attributes:
        offset_n: Pull at a dial of zero, by the line.
        gain: Newtons pulled per newton dialled.
        covariance: Of (offset, gain), shape (2, 2).
        repeat_n: Standard deviation of one pull about the line.
        low_n: Least dial tried.
        high_n: Greatest dial tried.
    """

    offset_n: float
    gain: float
    covariance: np.ndarray
    repeat_n: float
    low_n: float
    high_n: float

    def pull_n(self, dial_n: float) -> float:
        """What the head pulls at a dial setting."""
        return self.offset_n + self.gain * dial_n

    def u_pull_n(self, dial_n: float) -> float:
        """Standard uncertainty of one pull at a dial setting: the line's and its own."""
        at = np.array([1.0, dial_n])
        return sqrt(float(at @ self.covariance @ at) + self.repeat_n**2)


class Advice(NamedTuple):
    """What to dial for an order.

    Attributes:
        order_n: What the player ordered.
        dial_n: What to dial; None where it is refused.
        u_n: Standard uncertainty of the pull that comes of it.
        capped: Whether the correction was held at 5 %.
        says: Why it is refused or held, or an empty text.
    """

    order_n: float
    dial_n: float | None
    u_n: float
    capped: bool
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadResult:
    """What a head check found.

    Attributes:
        pulls: What it rests on.
        peak: The line at the peak.
        at_3s: The line three seconds after, or None where it was not read.
        repeatability_pct: Greatest spread at one setting, per cent; None without repeats.
        fast_less_slow_pct: How much more a fast pull gives than a slow one, or None.
        u_cell_pct: Standard uncertainty of the cell's span, per cent, common to all.
    """

    pulls: tuple[HeadPull, ...]
    peak: DialLine
    at_3s: DialLine | None
    repeatability_pct: float | None
    fast_less_slow_pct: float | None
    u_cell_pct: float

    @property
    def error_pct(self) -> float:
        """Pull less dial in the middle of the settings tried, per cent: for the chart."""
        middle = (self.peak.low_n + self.peak.high_n) / 2
        return 100 * (self.peak.pull_n(middle) / middle - 1)

    def advise(
        self,
        order_n: float,
        *,
        check_verdict: str | None,
        limit_n: float | None = None,
        boost_pct: float = 0.0,
    ) -> Advice:
        """What to dial so that the peak is what was ordered.

        Args:
            order_n: Ordered tension, newtons.
            check_verdict: Of today's check; only `good` gives advice.
            limit_n: The frame's own limit, or None.
            boost_pct: What the head adds on purpose (knot boost, pre-stretch).
        """
        u = sqrt(self.peak.u_pull_n(order_n) ** 2 + (self.u_cell_pct / 100 * order_n) ** 2)
        if check_verdict != "good":
            said = f"no advice: today's check is {check_verdict or 'missing'}"
            return Advice(order_n, None, u, False, said)
        strongest = order_n * (1 + boost_pct / 100) + u
        if limit_n is not None and strongest > limit_n:
            said = (
                f"no advice: {order_n:.0f} N with boost and uncertainty may reach "
                f"{strongest:.0f} N, the frame's limit is {limit_n:.0f} N"
            )
            return Advice(order_n, None, u, False, said)
        wanted = (order_n - self.peak.offset_n) / self.peak.gain
        low, high = order_n * (1 - MOST_CORRECTION), order_n * (1 + MOST_CORRECTION)
        dial = min(max(wanted, low), high)
        said = "" if dial == wanted else f"held at 5 %: {wanted:.1f} N would be needed"
        return Advice(order_n, dial, u, dial != wanted, said)

    def dial_table(
        self, *, check_verdict: str | None, unit: str = "lbf", limit_n: float | None = None
    ) -> tuple[Advice, ...]:
        """Advice for every whole pound from 18 to 65, or every half kilogram from 8.

        Args:
            check_verdict: Of today's check.
            unit: `lbf` or `kgf`.
            limit_n: The frame's own limit, or None.
        """
        if unit not in ORDERS:
            raise ValueError(f"unit must be one of {sorted(ORDERS)}, not {unit!r}")
        return tuple(
            self.advise(order * N_PER_UNIT[unit], check_verdict=check_verdict, limit_n=limit_n)
            for order in ORDERS[unit]
        )

    def answer(self) -> dict[str, Any]:
        """The finding as plain values; what is not known is None."""
        return {
            "offset_N": self.peak.offset_n,
            "u_offset_N": sqrt(self.peak.covariance[0, 0]),
            "gain": self.peak.gain,
            "u_gain": sqrt(self.peak.covariance[1, 1]),
            "repeat_N": self.peak.repeat_n,
            "offset_at_3s_N": self.at_3s.offset_n if self.at_3s else None,
            "gain_at_3s": self.at_3s.gain if self.at_3s else None,
            "repeatability_pct": self.repeatability_pct,
            "fast_less_slow_pct": self.fast_less_slow_pct,
            "range_N": [self.peak.low_n, self.peak.high_n],
        }


def analyse_head(pulls: Sequence[HeadPull], *, u_cell_pct: float = 0.0) -> HeadResult:
    """Compare the dial with the cell.

    Args:
        pulls: At one setting or more; twice each is better.
        u_cell_pct: Standard uncertainty of the cell's span from the morning check.

    Raises:
        CalibrationError: No pull, or one that cannot be.
    """
    _refuse_nonsense(pulls)
    set_n = np.array([p.set_n for p in pulls])
    peak = np.array([p.peak_n for p in pulls])
    late = [p.at_3s_n for p in pulls]
    has_late = all(x is not None and isfinite(x) for x in late)
    return HeadResult(
        pulls=tuple(pulls),
        peak=_line(set_n, peak),
        at_3s=_line(set_n, np.array(late, dtype=np.float64)) if has_late else None,
        repeatability_pct=_repeatability_pct(set_n, peak),
        fast_less_slow_pct=_fast_less_slow_pct(pulls),
        u_cell_pct=u_cell_pct,
    )


def _refuse_nonsense(pulls: Sequence[HeadPull]) -> None:
    if not pulls:
        raise CalibrationError(
            "no pull was made at a dial setting. Pull the scrap string once."
        )
    for p in pulls:
        if not (p.set_n > 0 and isfinite(p.peak_n) and 0.3 < p.peak_n / p.set_n < 3.0):
            raise CalibrationError(
                f"a pull of {p.peak_n:.1f} N at a dial of {p.set_n:.1f} N cannot be the same "
                "pull. Check the dial's unit, then pull again."
            )


def _line(set_n: np.ndarray, read_n: np.ndarray) -> DialLine:
    """Least squares of what was read on what was dialled, the gain leaning towards one."""
    repeat_n = _repeat_n(set_n, read_n)
    middle = float(set_n.mean())
    # in x counted from the middle, offset and gain are independent but for the lean
    x = set_n - middle
    precision = np.diag([len(x), float(x @ x)]) / repeat_n**2
    lean = 1 / GAIN_SD**2
    precision[1, 1] += lean
    right = np.array([read_n.sum(), float(x @ read_n)]) / repeat_n**2
    right[1] += lean
    covariance = np.linalg.inv(precision)
    level, gain = covariance @ right
    shift = np.array([[1.0, -middle], [0.0, 1.0]])
    return DialLine(
        offset_n=float(level - gain * middle),
        gain=float(gain),
        covariance=shift @ covariance @ shift.T,
        repeat_n=repeat_n,
        low_n=float(set_n.min()),
        high_n=float(set_n.max()),
    )


def _repeat_n(set_n: np.ndarray, read_n: np.ndarray) -> float:
    """Deviation of one pull from repeats at each setting, tempered by experience."""
    usual = USUAL_REPEAT_PCT / 100 * float(np.mean(np.abs(read_n)))
    square, freedoms = USUAL_FREEDOMS * usual**2, USUAL_FREEDOMS
    for setting in np.unique(set_n):
        own = read_n[set_n == setting]
        square += float(np.sum((own - own.mean()) ** 2))
        freedoms += len(own) - 1
    return sqrt(square / freedoms)


def _repeatability_pct(set_n: np.ndarray, peak: np.ndarray) -> float | None:
    spreads = [
        100 * float(np.ptp(peak[set_n == s]) / peak[set_n == s].mean())
        for s in np.unique(set_n)
        if np.sum(set_n == s) > 1
    ]
    return max(spreads, default=None)


def _fast_less_slow_pct(pulls: Sequence[HeadPull]) -> float | None:
    """Mean over the settings at which both speeds were pulled."""
    differences = []
    for setting in sorted({p.set_n for p in pulls}):
        slow, fast = (
            [p.peak_n for p in pulls if p.set_n == setting and p.speed == speed]
            for speed in ("slow", "fast")
        )
        if slow and fast:
            differences.append(100 * (np.mean(fast) / np.mean(slow) - 1))
    return float(np.mean(differences)) if differences else None
