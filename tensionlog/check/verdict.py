"""The guard band: what an error and its doubt allow to say.

JCGM 106 calls it guarded acceptance: the expanded uncertainty counts against the cell, so
a cell exactly at its tolerance passes at most once in forty times.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

VERDICTS: Final = ("good", "adjust", "stop")
COVERAGE_FACTOR: Final = 2.0
STOP_AT: Final = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far a reading may be off.

    Attributes:
        pct_of_load: Per cent of the load.
        floor_n: Never less than this many newtons.
    """

    pct_of_load: float = 0.5
    floor_n: float = 0.3

    def __post_init__(self) -> None:
        if not (self.pct_of_load >= 0 and self.floor_n >= 0):
            raise ValueError(f"a tolerance must not be negative, not {self!r}")

    def at_n(self, load_n: float) -> float:
        """The tolerance at a load, newtons.

        >>> Tolerance().at_n(100.0)
        0.5
        """
        return max(self.pct_of_load / 100 * abs(load_n), self.floor_n)


def judge(*, error_n: float, u_n: float, tolerance_n: float) -> str:
    """`good`, `adjust` or `stop` for one error with its standard uncertainty.

    >>> judge(error_n=0.2, u_n=0.04, tolerance_n=0.3)
    'good'
    """
    expanded = COVERAGE_FACTOR * u_n
    if abs(error_n) + expanded <= tolerance_n:
        return "good"
    return "stop" if abs(error_n) - expanded > STOP_AT * tolerance_n else "adjust"


def worst(verdicts: Iterable[str]) -> str:
    """The most serious of several verdicts.

    >>> worst(["good", "adjust", "good"])
    'adjust'
    """
    return max(verdicts, key=VERDICTS.index)
