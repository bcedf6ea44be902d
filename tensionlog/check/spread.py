"""Repeatability and reversibility, in the sense of ISO 376 (no conformity is claimed)."""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from tensionlog.check.result import Load


def directions(loads: Sequence[Load], reference_n: Sequence[float]) -> list[str]:
    """How each load was reached: `up` from a lighter one (or from empty), else `down`.

    Args:
        loads: All loads in order of time, empty ones too.
        reference_n: Force of each, newtons.
    """
    before = [0.0, *reference_n[:-1]]
    return [
        "down" if came_from > force else "up"
        for came_from, force in zip(before, reference_n, strict=True)
    ]


def _by_load(
    reference_n: Sequence[float], direction: Sequence[str], corrected_n: Sequence[float]
) -> dict[tuple[float, str], list[float]]:
    groups: dict[tuple[float, str], list[float]] = defaultdict(list)
    for force, way, reading in zip(reference_n, direction, corrected_n, strict=True):
        groups[round(force, 3), way].append(reading)
    return groups


def repeatability_pct(
    reference_n: Sequence[float], direction: Sequence[str], corrected_n: Sequence[float]
) -> float | None:
    """Greatest spread of one load read again from the same side, per cent of its mean.

    None where no load was read twice from one side.
    """
    spreads = [
        100 * float(np.ptp(readings) / abs(np.mean(readings)))
        for readings in _by_load(reference_n, direction, corrected_n).values()
        if len(readings) > 1
    ]
    return max(spreads, default=None)


def reversibility_pct(
    reference_n: Sequence[float], direction: Sequence[str], corrected_n: Sequence[float]
) -> float | None:
    """Greatest |falling - rising| of one load, per cent of the rising reading.

    None where no load was read from both sides.
    """
    groups = _by_load(reference_n, direction, corrected_n)
    both = {force for force, _ in groups if {(force, "up"), (force, "down")} <= groups.keys()}
    differences = [
        100
        * abs(np.mean(groups[force, "down"]) - np.mean(groups[force, "up"]))
        / abs(np.mean(groups[force, "up"]))
        for force in sorted(both)
    ]
    return float(max(differences)) if differences else None
