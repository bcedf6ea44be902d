"""Exact conversion constants; inside the package every force is in newtons.

Sources: the pound and the standard acceleration of free fall are exact by definition
(international yard and pound agreement of 1959; 3rd CGPM, 1901).
"""

from typing import Final

STANDARD_GRAVITY_M_S2: Final = 9.80665
N_PER_LBF: Final = 4.4482216152605
N_PER_KGF: Final = STANDARD_GRAVITY_M_S2

N_PER_UNIT: Final = {"N": 1.0, "lbf": N_PER_LBF, "kgf": N_PER_KGF}
"""What people may order and read in, in newtons."""


def from_newtons(force_n: float, unit: str) -> float:
    """Convert a force to the reader's unit.

    Args:
        force_n: Force in newtons.
        unit: One of `N_PER_UNIT`.

    >>> round(from_newtons(274.5862, "lbf"), 3)
    61.729
    """
    return force_n / N_PER_UNIT[unit]


def to_newtons(amount: float, unit: str) -> float:
    """Convert an amount in one of `N_PER_UNIT` to newtons.

    >>> round(to_newtons(28, "kgf"), 4)
    274.5862
    """
    return amount * N_PER_UNIT[unit]
