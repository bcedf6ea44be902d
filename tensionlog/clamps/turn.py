"""Turn test: what passes round one turn of a frame, still and tapped.

The string runs from the cell round a scrap frame to the head, whose force is known from
its dial. The cell's share of it is φ = e^(−μθ) (capstan). Tapping the frame lets more
through: the level just before the first tap and the level after the last are compared
under one law of relaxation, so that waiting does not count as friction. Behind a head that
locks both are carried back to the trip, because that is what its dial table tells.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from tensionlog.clamps.at_trip import Spell, at_trip, crest_near, sprung_back
from tensionlog.clamps.held import held_law
from tensionlog.clamps.trace import Floats, Readings, averaged, clean, running_median
from tensionlog.errors import ClampError

SETTLED_S = 0.4
GUARD_S = 0.15
U_HEAD_PCT = 0.4
"""What one pull of a sound head differs by from its dial table, and the cell's span from
the one that the table was made with (bench experience)."""

IDLE_S = 2.3, 0.6
"""From when to when before the pull the empty reading is taken: a cell is turned to its
place shortly before."""

LOOK_S, RISE_SHARE = 0.2, 0.002
"""A rise by more than this share, told from the levels so long before and after."""

LEAST_SHARE = 0.01
"""A rise by less than this share of the level is no tapping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnResult:
    """What passes round the frame.

    Attributes:
        phi_rest: Cell over head before the first tap.
        phi_tapped: Cell over head after the last; None where nobody tapped.
        u: Standard uncertainty of either.
        wrap_deg: Angle round the frame.
    """

    phi_rest: float
    phi_tapped: float | None
    u: float
    wrap_deg: float

    @property
    def friction(self) -> float:
        """Coefficient of friction at rest, by the capstan rule φ = e^(−μθ)."""
        return -math.log(self.phi_rest) / math.radians(self.wrap_deg)

    def answer(self) -> dict[str, float | None]:
        """The pinned JSON form."""
        return {"phi_rest": self.phi_rest, "phi_tapped": self.phi_tapped, "u": self.u}


class _Found(NamedTuple):
    ages: Floats
    force: Floats
    first_s: float | None
    last_s: float | None


class _Levels(NamedTuple):
    before_n: float
    ratio: float | None
    u_n: float


def measure_turn(
    *,
    t_s: ArrayLike,
    force_n: ArrayLike,
    head_n: float,
    start_s: float,
    end_s: float,
    wrap_deg: float = 180.0,
    u_head_pct: float = U_HEAD_PCT,
    locked: bool = False,
) -> TurnResult:
    """Measure one turn test.

    Args:
        t_s: Sample times, seconds, rising, shape (n,), with the slack string before.
        force_n: Readings in newtons, shape (n,).
        head_n: What the head pulls, from its dial table, newtons.
        start_s: When the test was begun, on the clock of `t_s`.
        end_s: When it was ended.
        wrap_deg: Angle round the frame.
        u_head_pct: One standard uncertainty of `head_n`, per cent.
        locked: Whether the head locks: `head_n` is then what it pulls as it trips.

    Raises:
        ClampError: There is no pull, or the cell reads more than the head pulls.
    """
    readings = clean(*(np.asarray(c, dtype=np.float64) for c in (t_s, force_n)))
    if not head_n > 0.0:
        raise ClampError(f"a turn test needs what the head pulls, not {head_n:g} N.")
    begin_s, off_s, zero = _loaded(readings, start_s, end_s, head_n)
    levels = (_at_trip if locked else _levels)(readings, begin_s, off_s, zero)
    phi = levels.before_n / head_n
    if phi > 1.05:
        raise ClampError(
            f"the cell reads {levels.before_n:.1f} N, the head pulls {head_n:.1f} N: no frame "
            "adds force. Check the dial table and the zero."
        )
    tapped = None if levels.ratio is None else phi * levels.ratio
    u = math.hypot(levels.u_n / head_n, 0.01 * u_head_pct * (tapped or phi))
    return TurnResult(phi_rest=phi, phi_tapped=tapped, u=u, wrap_deg=wrap_deg)


def _loaded(
    readings: Readings, start_s: float, end_s: float, head_n: float
) -> tuple[float, float, float]:
    """Top of the pull, when it is let off, and the empty reading before."""
    inside = (readings.t_s >= start_s) & (readings.t_s <= end_s)
    t_s, force = readings.t_s[inside], running_median(readings.force[inside], 5)
    if t_s.size < 20:
        raise ClampError(f"the turn test has only {t_s.size} readings. Look at the cable.")
    rough = float(np.median(force[:5]))
    rise_s = float(t_s[np.argmax(force - rough > 0.2 * (force.max() - rough))])
    zero = _empty(readings, rise_s, otherwise=rough)
    high = float(np.median(force[force > zero + 0.5 * (force.max() - zero)]))
    under = np.flatnonzero(force > zero + 0.2 * (high - zero))
    if high - zero < 0.1 * head_n or t_s[under[-1]] - t_s[under[0]] < 2.0:
        raise ClampError(
            f"the cell never read more than {high - zero:.1f} N for long: there is no pull in "
            "the turn test. Hold the head on for some seconds, still first, then tap."
        )
    return _top(t_s[under], force[under] - zero), float(t_s[under[-1]]), zero


def _empty(readings: Readings, rise_s: float, *, otherwise: float) -> float:
    """What the cell read just before the pull: a slack end held by hand only adds force."""
    idle = averaged(readings, rise_s - IDLE_S[0], rise_s - IDLE_S[1], widest_s=0.3)
    if idle.number.sum() < 5:
        return otherwise
    lowest = np.sort(idle.force)[: (idle.force.size + 1) // 2]
    return float(np.median(lowest))


def _top(t_s: Floats, force: Floats) -> float:
    """When the ramp is over: from here on a third of a second adds next to nothing."""
    later = np.interp(t_s + 0.3, t_s, force)
    return float(t_s[int(np.argmax(later - force < 0.01 * force))])


def _found(readings: Readings, begin_s: float, off_s: float, zero: float) -> _Found:
    inside = (readings.t_s > begin_s + SETTLED_S + readings.response_s) & (
        readings.t_s < off_s - GUARD_S - readings.response_s
    )
    ages, force = readings.t_s[inside] - begin_s, readings.force[inside] - zero
    width = max(3, 2 * round(0.1 / readings.step_s) + 1)
    return _Found(ages, force, *_taps(ages, running_median(force, width)))


def _levels(readings: Readings, begin_s: float, off_s: float, zero: float) -> _Levels:
    ages, force, first_s, last_s = _found(readings, begin_s, off_s, zero)
    still = ages < (first_s or np.inf) - GUARD_S
    before = held_law(ages[still], force[still])
    u_n = readings.noise / math.sqrt(still.sum()) + 0.02
    after = ages > (last_s or np.inf) + GUARD_S + readings.response_s
    if first_s is None or after.sum() < 5:
        return _Levels(float(before(ages[-1:])[0]), None, u_n)
    ratio = float(np.median(force[after] / before(ages[after])))
    at_tap = float(before(np.array([first_s]))[0])
    return _Levels(at_tap, ratio, u_n)


def _at_trip(readings: Readings, begin_s: float, off_s: float, zero: float) -> _Levels:
    found = _found(readings, begin_s, off_s, zero)
    end_s = off_s - GUARD_S - readings.response_s
    still_to_s, tapped_from_s = end_s, None
    if found.first_s is not None and found.last_s is not None:
        rises_s = begin_s + _rises(readings, found)
        still_to_s = rises_s[0] - GUARD_S
        tapped_from_s = rises_s[-1] + GUARD_S + readings.response_s
    crest = crest_near(readings, begin_s)
    spell = Spell(begin_s, still_to_s, tapped_from_s, end_s)
    level = at_trip(readings, crest=crest.at_s, zero=zero, spell=spell)
    level = sprung_back(level, crest.reading - zero, response_s=readings.response_s)
    ratio = None if level.tapped_n is None else level.tapped_n / level.still_n
    return _Levels(level.still_n, ratio, level.u_n)


def _rises(readings: Readings, found: _Found) -> Floats:
    """Ages at which the force rises, the first and last tap among them.

    A string that is held at its length only loses force: a rise, however small, is a tap.
    """
    ages, force, first_s, last_s = found
    width = max(3, 2 * round(0.5 * LOOK_S / readings.step_s) + 1)
    smooth, apart_s = running_median(force, width), LOOK_S + 0.5 * readings.response_s
    rise = np.interp(ages + apart_s, ages, smooth) - np.interp(ages - apart_s, ages, smooth)
    least = max(8.0 * readings.noise / math.sqrt(width), RISE_SHARE * float(np.median(force)))
    risen = ages[rise > least]
    within = (risen > ages[0] + apart_s) & (risen < (last_s or 0.0) + 2.0)
    shaken = np.array([first_s, last_s], dtype=np.float64)
    middles = risen[within]
    # A rise is seen from `apart_s` before it until as long after.
    ends = middles[[0, -1]] + np.array([apart_s, -apart_s]) if middles.size else shaken
    return np.sort(np.array([min(ends[0], shaken[0]), max(ends[1], shaken[0])]))


def _taps(ages: Floats, smooth: Floats) -> tuple[float | None, float | None]:
    """When the first tap let something through and when the last did; None without."""
    early = held_law(ages[ages < ages[0] + 1.5], smooth[ages < ages[0] + 1.5])
    for _ in range(3):
        gained = smooth - early(ages)
        total = float(np.median(gained[ages > ages[-1] - 0.7]))
        if total < LEAST_SHARE * early.level:
            return None, None
        first_s = float(ages[int(np.argmax(gained > 0.2 * total))])
        still = ages < first_s - GUARD_S
        if still.sum() < 10:
            break
        early = held_law(ages[still], smooth[still])
    late = np.flatnonzero(gained < 0.93 * total)
    return first_s, float(ages[late[-1]])
