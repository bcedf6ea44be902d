"""How many digits a number is printed with: as many as its uncertainty allows.

One rule for the whole report, that of the Particle Data Group (Review of Particle
Physics, introduction, "Rounding"; from memory): take the three leading digits of the
uncertainty. 100 to 354: print two digits of it; 355 to 949: one; 950 to 999: round up
to 1000 and print two. The number then ends at the same place as its uncertainty.
"""

import math
from dataclasses import dataclass

from tensionlog.units import from_newtons

UNSTATED_U_N = 0.5
"""Digits follow this uncertainty, in newtons, where nobody stated one: it leaves one
decimal in newtons and two in lbf and kgf, which is what orders are read in."""

UNSTATED_U_COUNTS = 5.0
ABSENT = "–"
NBSP = "\u00a0"
MINUS = "−"


def places(u: float) -> int:
    """Decimals that an uncertainty of `u` (above zero) leaves; negative: tens, hundreds.

    >>> places(0.827), places(0.119), places(0.0367), places(0.96), places(25.0)
    (1, 2, 2, 1, 0)
    """
    exponent = math.floor(math.log10(u))
    leading = round(u / 10.0**exponent * 100)
    if leading >= 950:
        return -exponent
    return (1 if leading <= 354 else 0) - exponent


def rounded_u(u: float) -> str:
    """Write an uncertainty by the rule.

    >>> rounded_u(0.95), rounded_u(0.0)
    ('1.0', '0')
    """
    if not u > 0.0 or not math.isfinite(u):
        return f"{u:.0f}"
    decimals = places(u)
    exponent = math.floor(math.log10(u))
    # 0.95 lies a hair below itself in binary, and would round down at one decimal.
    up = decimals == -exponent and u >= 0.9495 * 10.0 ** (exponent + 1)
    return fixed(10.0 ** (exponent + 1) if up else u, decimals)


def fixed(number: float, decimals: int) -> str:
    """Write `number` with a true minus sign, rounded at `decimals` (may be negative).

    >>> fixed(-0.26, 1), fixed(-0.01, 1), fixed(1234.0, -2)
    ('−0.3', '0.0', '1200')
    """
    rounded = round(number, decimals) + 0.0  # + 0.0 turns −0.0 into 0.0
    return f"{rounded:.{max(decimals, 0)}f}".replace("-", MINUS)


@dataclass(frozen=True, slots=True)
class Reader:
    """Whoever reads: their unit, and the one rule for digits.

    Attributes:
        unit: `N`, `lbf` or `kgf`, or `counts` where there is no calibration.
    """

    unit: str

    def convert(self, force: float) -> float:
        """Bring a force in newtons into the reader's unit; counts stay counts."""
        return force if self.unit == "counts" else from_newtons(force, self.unit)

    def decimals(self, u: float | None = None) -> int:
        """Decimals for a force known to `u` newtons (or counts), or to nobody knows what."""
        if u is None or not u > 0.0 or not math.isfinite(u):
            u = UNSTATED_U_COUNTS if self.unit == "counts" else UNSTATED_U_N
        return places(self.convert(u))

    def bare(self, force: float | None, u: float | None = None) -> str:
        """The number alone, without its unit and without its uncertainty."""
        if force is None:
            return ABSENT
        return fixed(self.convert(force), self.decimals(u))

    def pair(self, force: float | None, u: float | None) -> str:
        """The number with its uncertainty, without the unit.

        >>> Reader("N").pair(4.1234, 0.2712), Reader("kgf").pair(4.1234, 0.2712)
        ('4.12 ± 0.27', '0.420 ± 0.028')
        """
        if force is None or u is None:
            return self.bare(force)
        return f"{self.bare(force, u)} ± {rounded_u(self.convert(u))}"

    def amount(self, force: float | None, u: float | None = None) -> str:
        """The number with its unit."""
        return ABSENT if force is None else f"{self.bare(force, u)}{NBSP}{self.unit}"

    def full(self, force: float | None, u: float | None) -> str:
        """The number with its uncertainty and its unit."""
        return ABSENT if force is None else f"{self.pair(force, u)}{NBSP}{self.unit}"

    def order(self, force_n: float | None) -> str:
        r"""An ordered tension, without digits nobody ordered.

        >>> Reader("lbf").order(24.5 * 4.4482216152605)
        '24.5\xa0lbf'
        """
        if force_n is None:
            return ABSENT
        unit = "N" if self.unit == "counts" else self.unit
        ordered = f"{from_newtons(force_n, unit):.{1 if unit == 'N' else 2}f}"
        return f"{ordered.rstrip('0').rstrip('.')}{NBSP}{unit}"


def orders(reader: Reader, mains_n: float | None, crosses_n: float | None) -> str:
    r"""Ordered tensions of mains and crosses, the unit said once.

    >>> orders(Reader("N"), 110.0, 105.0), orders(Reader("N"), 110.0, 110.0)
    ('110\xa0/\xa0105\xa0N', '110\xa0N')
    """
    first, second = reader.order(mains_n), reader.order(crosses_n)
    return second if first == second else f"{first.partition(NBSP)[0]}{NBSP}/{NBSP}{second}"


def percent(share_pct: float | None, decimals: int = 1) -> str:
    r"""A percentage with its sign in words' form.

    >>> percent(-3.25), percent(None)
    ('−3.2\xa0%', '–')
    """
    return ABSENT if share_pct is None else f"{fixed(share_pct, decimals)}{NBSP}%"


def millimetres(length_mm: float | None) -> str:
    """Millimetres of string: a tenth is as fine as any of our stiffnesses allows."""
    return ABSENT if length_mm is None else f"{fixed(length_mm, 1)}{NBSP}mm"
